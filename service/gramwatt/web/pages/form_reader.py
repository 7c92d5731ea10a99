"""From the fields of a form to a question as JSON has it.

A field is named like its input; ``<name>.unit`` beside it tells its unit; ``parts.0.mass`` is a column of the first row
of a table; ``units.<result>`` the unit a result is wanted in. So a page's URL holds everything that was asked.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import IO, Any, Final, Protocol

from gramwatt.engine.cells import NUMBER
from gramwatt.engine.messages import InputError, close_matches, quote_input
from gramwatt.engine.recordings.column_types import MalformedRecording, UnusableRecording
from gramwatt.engine.recordings.reader import parse_recording
from gramwatt.model import Calculator, Count, Flag, Kind, NumberList, Quantity, Table, TimeSeries, units
from gramwatt.web.pages.description import columns_of

_WHOLE: Final = re.compile(r"[+-]?\d{1,15}", re.ASCII)
_NUMBER: Final = re.compile(NUMBER, re.ASCII)
_BARE: Final = re.compile(r"\s*[\d.,+-]+(\s+[\d.,+-]+)*\s*", re.ASCII)
"""Numbers with nothing but white space between them."""
_UNITLESS: Final = re.compile(rf"{NUMBER}\s*(±|\+?/-|\+-)\s*{NUMBER}", re.ASCII)
MOST_FIELDS: Final = 6000
MOST_STRAY: Final = 20
"""Names that are no inputs, of which a page tells."""


class File(Protocol):
    """A file of a form."""

    filename: str | None
    stream: IO[bytes]


@dataclass(slots=True)
class FormData:
    """What a form said."""

    question: dict[str, Any] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)
    """By field, as they were typed; rows of tables numbered anew, in order."""
    units: dict[str, str] = field(default_factory=dict)
    """The unit chosen beside a field."""
    result_units: dict[str, str] = field(default_factory=dict)
    errors: list[InputError] = field(default_factory=list)
    decimal: str = "."
    rows: dict[str, int] = field(default_factory=dict)
    """How many rows a table shows, blank ones among them."""
    places: dict[str, list[int]] = field(default_factory=dict)
    """Which of them are asked, in order."""
    said: bool = False
    """Whether anything was asked at all."""
    shape: str = "wide"
    """The shape of a chart that must be drawn into the page, by the width of its reader's screen."""


def read(calculator: Calculator[Any, Any], sent: Mapping[str, str], files: Mapping[str, File]) -> FormData:
    """A form as it was sent. What is wrong with a value is the service's to say; here only what no JSON could tell."""
    # A part of a multipart body need not say its name.
    words = {name: word for name, word in itertools.islice(sent.items(), MOST_FIELDS) if name}
    files = {name: file for name, file in files.items() if name}
    form = FormData(decimal="," if words.pop("decimal", ".") == "," else ".")
    if len(sent) > MOST_FIELDS:
        form.errors.append(InputError("", f"{len(sent)} fields", None, f"up to {MOST_FIELDS} at once"))
    form.shape = "narrow" if words.pop("shape", "") == "narrow" else "wide"
    words.pop("part", "")
    add, remove = words.pop("add", ""), words.pop("remove", "")
    for pair in words.pop("units", "").split(","):
        name, colon, unit = pair.partition(":")
        if colon:
            form.result_units[name] = unit
    for name in [each for each in words if each.startswith("units.")]:
        if unit := words.pop(name):
            form.result_units[name.removeprefix("units.")] = unit
    # A form whose every field was emptied says so by its decimal sign alone: it is no first visit.
    asked = any(each.partition(".")[0] in calculator.input_fields for each in words)
    form.said = asked or any(file.filename for file in files.values()) or sent.get("decimal") == "."
    for name, kind in calculator.input_fields.items():
        if isinstance(kind, Table):
            _read_table(form, name, kind, words, files, remove)
            if add == name or (not form.rows.get(name) and not kind.optional):
                form.rows[name] = form.rows.get(name, 0) + 1
        else:
            _read_field(form, name, name, kind, words, files, form.question)
    for name, word in list(words.items())[:MOST_STRAY]:
        if word and ("." in name or close_matches(name, calculator.input_fields)):
            form.question[name] = word  # a name misspelt: the service says so; one like no other was somebody else's
    return form


def _read_table(
    form: FormData, name: str, kind: Table, words: dict[str, str], files: Mapping[str, File], remove: str
) -> None:
    """The rows of a table in the order of their places; blank ones are shown again and not asked."""
    mine = re.compile(rf"{re.escape(name)}\.(\d{{1,4}})\.", re.ASCII)
    places = sorted({int(found[1]) for each in (*words, *files) if (found := mine.match(each))})
    asked: list[dict[str, Any]] = []
    columns = columns_of(kind)
    shown = 0
    for place in places:
        before = f"{name}.{place}."
        if remove == f"{name}.{place}" or shown > kind.max_length:
            for column in columns:
                words.pop(before + column, None)
                words.pop(f"{before}{column}.unit", None)
            continue
        row: dict[str, Any] = {}
        filled = any(words.get(before + column) for column in columns) or any(
            (file := files.get(before + column)) is not None and file.filename for column in columns
        )
        for column, inner in columns.items():
            _read_field(form, f"{name}.{shown}.{column}", before + column, inner, words, files, row, key=column)
        if filled:
            asked.append(row)
            form.places.setdefault(name, []).append(shown)
        shown += 1
    form.rows[name] = shown
    if asked:
        form.question[name] = asked


def _read_field(
    form: FormData,
    shown: str,
    sent: str,
    kind: Kind,
    words: dict[str, str],
    files: Mapping[str, File],
    into: dict[str, Any],
    key: str = "",
) -> None:
    """One field: ``sent`` is its name in the form, ``shown`` that in the form to come."""
    word, unit = words.pop(sent, ""), words.pop(f"{sent}.unit", "")
    if word:
        form.words[shown] = word
    if unit and unit != getattr(kind.item if isinstance(kind, NumberList) else kind, "unit", ""):
        form.units[shown] = unit
    if isinstance(kind, TimeSeries):
        _read_recording(form, shown, kind, word, files.get(sent), into, key or shown)
    elif word.strip():
        pointer = "/" + _asked(form, shown).replace(".", "/")
        if form.decimal == "," and "." in word and isinstance(kind, Quantity | Count | NumberList):
            detail = "a point in a number; here a comma is the decimal sign"
            form.errors.append(
                InputError(pointer, detail, quote_input(word), "1300 or 1,3, without signs between thousands")
            )
        into[key or shown] = value(kind, word, unit, form.decimal)


def _asked(form: FormData, shown: str) -> str:
    """The name of a field in the question, where blank rows have no place."""
    table, dot, rest = shown.partition(".")
    return f"{table}.{len(form.places.get(table, ()))}.{rest.partition('.')[2]}" if dot else shown


def value(kind: Kind, word: str, unit: str = "", decimal: str = ".") -> Any:
    """A typed word as a JSON value: a number, a text with its unit, a list. What makes no sense stays as it is."""
    match kind:
        case NumberList():
            pieces = re.split(r"[;\n]+" if decimal == "," else r"[;,\n]+", word.strip())
            items = [item for piece in pieces for item in (piece.split() if _BARE.fullmatch(piece) else [piece])]
            return [value(kind.item, item, unit, decimal) for item in items if item.strip()]
        case Quantity():
            text = _pointed(word.strip(), decimal)
            foreign = unit not in ("", kind.unit)
            if _NUMBER.fullmatch(text):
                return f"{text} {unit}" if foreign else _number(text)
            return f"{text} {unit}" if foreign and _UNITLESS.fullmatch(text) else text
        case Count():
            text = _pointed(word.strip(), decimal)
            return _number(text) if _NUMBER.fullmatch(text) else text
        case Flag():
            return {"true": True, "false": False}.get(word, word)
        case _:
            return word


def _pointed(word: str, decimal: str) -> str:
    """A number written with a decimal comma, with a point."""
    return word.replace(",", ".") if decimal == "," else word


def _number(text: str) -> int | float:
    return int(text) if _WHOLE.fullmatch(text) else float(text)


def _read_recording(
    form: FormData, shown: str, kind: TimeSeries, word: str, file: File | None, into: dict[str, Any], key: str
) -> None:
    """A recording from a file, or from text that was pasted."""
    raw = file.stream.read() if file is not None and file.filename else b""
    form_of = "csv"
    if file is not None and raw:
        ending = (file.filename or "").rpartition(".")[2].lower()
        form_of = {"json": "json", "ndjson": "ndjson", "jsonl": "ndjson", "arrow": "arrow"}.get(ending, "csv")
    elif word.strip():
        raw = word.encode("utf-8", "replace")
    if not raw:
        return
    try:
        into[key] = parse_recording(kind, raw, form_of, decimal=form.decimal)
    except MalformedRecording as error:
        accepted = "CSV with a header line, NDJSON, a JSON object of lists, or an Arrow stream"
        form.errors.append(
            InputError("/" + _asked(form, shown).replace(".", "/"), f"this is no recording: {error}", None, accepted)
        )
    except UnusableRecording as unusable:
        form.errors += [
            InputError("/" + _asked(form, shown).replace(".", "/"), each.detail, quote_input(each.given), each.accepted)
            for each in unusable.errors
        ]


def shown(calculator: Calculator[Any, Any], question: Mapping[str, Any], decimal: str = ".") -> FormData:
    """A question as the form that asks it, for an example or a link."""
    words: dict[str, str] = {}
    for name, given in question.items():
        kind = calculator.input_fields[name]
        if isinstance(kind, Table):
            for at, row in enumerate(given):
                for column, inner in columns_of(kind).items():
                    if column in row:
                        words |= _with_unit(f"{name}.{at}.{column}", inner, typed(inner, row[column], decimal))
        else:
            words |= _with_unit(name, kind, typed(kind, given, decimal))
    return read(calculator, {**words, "decimal": decimal}, {})


def _with_unit(name: str, kind: Kind, word: str) -> dict[str, str]:
    """A typed word, its unit in the field beside it."""
    number, space, unit = word.rpartition(" ")
    if isinstance(kind, Quantity) and space and unit in units.compatible_units(kind.unit):
        return {name: number, f"{name}.unit": unit}
    return {name: word}


def typed(kind: Kind, given: Any, decimal: str = ".") -> str:
    """A JSON value as somebody would type it."""
    if isinstance(given, bool):
        return "true" if given else "false"
    if isinstance(kind, NumberList):
        return ("; " if decimal == "," else ", ").join(typed(kind.item, item, decimal) for item in given)
    if isinstance(kind, TimeSeries):
        separator = ";" if decimal == "," else ","
        lines = [list(given), *zip(*given.values(), strict=True)]
        rows = [separator.join("" if cell is None else str(cell) for cell in line) for line in lines]
        return "\n".join(rows if decimal == "." else [row.replace(".", ",") for row in rows])
    text = str(given)
    return text.replace(".", ",") if decimal == "," and isinstance(kind, Quantity | Count) else text


def query_of(form: FormData, words: bool = True) -> dict[str, str]:
    """The shortest query for the same inputs: what was typed, units that were chosen, nothing empty.

    Without ``words`` they leave out what was typed, and so ask for the example.
    """
    fields: dict[str, str] = {}
    for name, word in form.words.items() if words else ():
        fields[name] = word
        if unit := form.units.get(name):
            fields[f"{name}.unit"] = unit
    if form.result_units:
        fields["units"] = ",".join(f"{name}:{unit}" for name, unit in form.result_units.items())
    if form.decimal != ".":
        fields["decimal"] = form.decimal
    return fields
