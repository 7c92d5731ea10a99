"""Read the fields of a form as the inputs that JSON would hold.

A field is named like its input. ``<name>.unit`` is the unit beside it, ``parts.0.mass`` a column in the first row of a
table, ``units.<result>`` the unit of a result. So the URL of a page contains all inputs.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import IO, Any, Final, NamedTuple, Protocol

from gramwatt.engine.recordings.channels import channels_of, column_option
from gramwatt.engine.recordings.column_types import MalformedRecording, UnusableRecording
from gramwatt.engine.recordings.reader import parse_recording
from gramwatt.model import Calculator, Count, Flag, Kind, NumberList, Quantity, Table, TimeSeries, units
from gramwatt.model.messages import InputError, close_matches, quote_input
from gramwatt.model.parsing import NUMBER
from gramwatt.web.pages.description import form_columns

_INTEGER: Final = re.compile(r"[+-]?\d{1,15}", re.ASCII)
_NUMBER: Final = re.compile(NUMBER, re.ASCII)
_NUMBERS_ONLY: Final = re.compile(r"\s*[\d.,+-]+(\s+[\d.,+-]+)*\s*", re.ASCII)
_WITHOUT_UNIT: Final = re.compile(rf"{NUMBER}\s*(±|\+?/-|\+-)\s*{NUMBER}", re.ASCII)
MAX_FIELDS: Final = 6000
MAX_RANGE_TEXT: Final = 80
MAX_UNKNOWN: Final = 20
"""Unknown names that a page reports."""
_FILE_FORMATS: Final = {"json": "json", "ndjson": "ndjson", "jsonl": "ndjson", "arrow": "arrow"}


class File(Protocol):
    """An uploaded file."""

    filename: str | None
    stream: IO[bytes]


class VariedInput(NamedTuple):
    """An input to vary, with the ends of its range as typed; all empty for none."""

    name: str = ""
    start: str = ""
    stop: str = ""


@dataclass(slots=True)
class FormData:
    """The content of a form."""

    inputs: dict[str, Any] = field(default_factory=dict)
    texts: dict[str, str] = field(default_factory=dict)
    """What was typed into each field. Rows of tables are renumbered in order."""
    units: dict[str, str] = field(default_factory=dict)
    """The unit selected beside each field."""
    result_units: dict[str, str] = field(default_factory=dict)
    errors: list[InputError] = field(default_factory=list)
    decimal: str = "."
    row_counts: dict[str, int] = field(default_factory=dict)
    """Rows that each table shows, blank ones included."""
    filled_rows: dict[str, list[int]] = field(default_factory=dict)
    """The numbers of those rows that the inputs contain, in order."""
    submitted: bool = False
    """Whether the request holds any field of the form."""
    varied: tuple[VariedInput, VariedInput] = (VariedInput(), VariedInput())
    """One or two inputs to vary over a range."""
    shape: str = "wide"
    """The shape of a chart that is drawn into the page, by the width of the screen."""
    origins: Mapping[str, list[list[Any]]] = field(default_factory=dict)
    """Where rows of tables come from in a craft, for scripts: see `craft_form.FilledFields`."""
    unknown: tuple[str, ...] = ()
    """JSON Pointers of what a craft has that no calculator asks for."""
    derived: tuple[str, ...] = ()
    """Inputs that a craft gives only as a sum."""
    failed: frozenset[str] = frozenset()
    """Inputs that errors of a craft leave without a value."""
    chart: str | None = None
    """Which of the calculator's charts is drawn, by default the first."""

    def add_error(self, key: str, detail: str, given: object, accepted: str) -> None:
        """Add an error of a field, with its place in the inputs, which leave blank rows out."""
        table, dot, rest = key.partition(".")
        name = f"{table}/{len(self.filled_rows.get(table, ()))}/{rest.partition('.')[2]}" if dot else key
        self.errors.append(InputError(f"/{name}", detail, given, accepted))


@dataclass(slots=True)
class _Sent:
    """The fields of a request; what has been read is removed."""

    texts: dict[str, str]
    files: Mapping[str, File]

    def pop(self, name: str) -> tuple[str, str]:
        """Remove a field; return its text and its unit."""
        return self.texts.pop(name, ""), self.texts.pop(f"{name}.unit", "")

    def columns(self, name: str, kind: TimeSeries) -> dict[str, str]:
        """Remove the fields that name the columns of a recording; return the columns by channel."""
        texts = {channel: self.texts.pop(f"{name}.{column_option(channel)}", "") for channel in channels_of(kind)}
        return {channel: text for channel, text in texts.items() if text}

    def file(self, name: str) -> File | None:
        """Return the file of a field, None where none was selected."""
        file = self.files.get(name)
        return file if file is not None and file.filename else None


def read_form(calculator: Calculator[Any, Any], sent: Mapping[str, str], files: Mapping[str, File]) -> FormData:
    """Return the content of a form. Values are checked later; errors here are those that JSON cannot express."""
    # A part of a multipart body may lack a name.
    texts = {name: text for name, text in itertools.islice(sent.items(), MAX_FIELDS) if name}
    form = FormData(decimal="," if texts.pop("decimal", ".") == "," else ".")
    if len(sent) > MAX_FIELDS:
        form.errors.append(InputError("", f"{len(sent)} fields", None, f"up to {MAX_FIELDS} at once"))
    form.shape = "narrow" if texts.pop("shape", "") == "narrow" else "wide"
    form.chart = texts.pop("chart", None)
    for name in ("part", "download"):
        texts.pop(name, "")
    first, second = (
        VariedInput(*(texts.pop(f"{end}{place}", "")[:MAX_RANGE_TEXT] for end in ("vary", "from", "to")))
        for place in ("", "2")
    )
    form.varied = first, second
    add, remove = texts.pop("add", ""), texts.pop("remove", "")
    form.result_units = _pop_result_units(texts)
    remaining = _Sent(texts, {name: file for name, file in files.items() if name})
    # The decimal sign alone is a form whose fields were all emptied, not a first visit.
    form.submitted = (
        sent.get("decimal") == "."
        or any(name.partition(".")[0] in calculator.input_fields for name in texts)
        or any(remaining.file(name) for name in remaining.files)
    )
    for name, kind in calculator.input_fields.items():
        if isinstance(kind, Table):
            _read_table(form, name, kind, remaining, remove)
            if add == name or (not form.row_counts.get(name) and not kind.optional):
                form.row_counts[name] = form.row_counts.get(name, 0) + 1
        else:
            _read_field(form, name, name, name, kind, remaining, form.inputs)
    for name, text in list(texts.items())[:MAX_UNKNOWN]:
        # A misspelt name is passed on, and reported with the other errors. A name like no other was added to the link.
        if text and ("." in name or close_matches(name, calculator.input_fields)):
            form.inputs[name] = text
    return form


def _pop_result_units(texts: dict[str, str]) -> dict[str, str]:
    """Remove and return the units of results: ``units=pack_power:kW,...`` and ``units.pack_power=kW``."""
    result_units = {}
    for pair in texts.pop("units", "").split(","):
        name, colon, unit = pair.partition(":")
        if colon:
            result_units[name] = unit
    for name in [each for each in texts if each.startswith("units.")]:
        if unit := texts.pop(name):
            result_units[name.removeprefix("units.")] = unit
    return result_units


def _read_table(form: FormData, name: str, kind: Table, sent: _Sent, remove: str) -> None:
    """Read the rows of a table in the order of their numbers. Blank rows are shown again but are no inputs."""
    pattern = re.compile(rf"{re.escape(name)}\.(\d{{1,4}})\.", re.ASCII)
    numbers = sorted({int(found[1]) for each in (*sent.texts, *sent.files) if (found := pattern.match(each))})
    rows: list[dict[str, Any]] = []
    columns = form_columns(kind)
    count = 0
    for number in numbers:
        prefix = f"{name}.{number}."
        if remove == f"{name}.{number}" or count > kind.max_length:
            for column, inner in columns.items():
                sent.pop(prefix + column)
                if isinstance(inner, TimeSeries):
                    sent.columns(prefix + column, inner)
            continue
        row: dict[str, Any] = {}
        filled = any(sent.texts.get(prefix + column) or sent.file(prefix + column) for column in columns)
        for column, inner in columns.items():
            _read_field(form, f"{name}.{count}.{column}", prefix + column, column, inner, sent, row)
        if filled:
            rows.append(row)
            form.filled_rows.setdefault(name, []).append(count)
        count += 1
    form.row_counts[name] = count
    if rows:
        form.inputs[name] = rows


def _read_field(
    form: FormData, key: str, sent_name: str, input_name: str, kind: Kind, sent: _Sent, inputs: dict[str, Any]
) -> None:
    """Read one field into ``inputs``. ``key`` is its name in the form to show, which renumbers rows."""
    text, unit = sent.pop(sent_name)
    if text:
        form.texts[key] = text
    if unit and unit != getattr(kind.item if isinstance(kind, NumberList) else kind, "unit", ""):
        form.units[key] = unit
    if isinstance(kind, TimeSeries):
        columns = sent.columns(sent_name, kind)
        _read_recording(form, key, input_name, kind, text, sent.file(sent_name), columns, inputs)
    elif text.strip():
        if form.decimal == "," and "." in text and isinstance(kind, Quantity | Count | NumberList):
            detail = "a point in a number; here a comma is the decimal sign"
            form.add_error(key, detail, quote_input(text), "1300 or 1,3, without thousands separators")
        inputs[input_name] = parse_value(kind, text, unit, form.decimal)


def parse_value(kind: Kind, text: str, unit: str = "", decimal: str = ".") -> Any:
    """Return typed text as a JSON value: a number, text with its unit, a list. Anything else stays as it was typed."""
    match kind:
        case NumberList():
            parts = re.split(r"[;\n]+" if decimal == "," else r"[;,\n]+", text.strip())
            items = [item for part in parts for item in (part.split() if _NUMBERS_ONLY.fullmatch(part) else [part])]
            return [parse_value(kind.item, item, unit, decimal) for item in items if item.strip()]
        case Quantity():
            text = with_decimal_point(text.strip(), decimal)
            has_other_unit = unit not in ("", kind.unit)
            if _NUMBER.fullmatch(text):
                return f"{text} {unit}" if has_other_unit else _parse_number(text)
            return f"{text} {unit}" if has_other_unit and _WITHOUT_UNIT.fullmatch(text) else text
        case Count():
            text = with_decimal_point(text.strip(), decimal)
            is_number = _NUMBER.fullmatch(text) and text not in dict(kind.spellings)
            return _parse_number(text) if is_number else text
        case Flag():
            return {"true": True, "false": False}.get(text, text)
        case _:
            return text


def with_decimal_point(text: str, decimal: str) -> str:
    """Return typed text with a point for the decimal sign of its form."""
    return text.replace(",", ".") if decimal == "," else text


def _parse_number(text: str) -> int | float:
    return int(text) if _INTEGER.fullmatch(text) else float(text)


def _read_recording(
    form: FormData,
    key: str,
    input_name: str,
    kind: TimeSeries,
    text: str,
    file: File | None,
    columns: Mapping[str, str],
    inputs: dict[str, Any],
) -> None:
    """Read a recording from a file, or from pasted text. ``columns`` has the names of columns by channel."""
    data, file_format = b"", "csv"
    if file is not None and (data := file.stream.read()):
        file_format = _FILE_FORMATS.get((file.filename or "").rpartition(".")[2].lower(), "csv")
    elif text.strip():
        data = text.encode("utf-8", "replace")
    if not data:
        return
    try:
        inputs[input_name] = parse_recording(kind, data, file_format, columns, decimal=form.decimal)
    except MalformedRecording as error:
        accepted = "CSV with a header line, NDJSON, a JSON object of lists, or an Arrow stream"
        form.add_error(key, f"this is no recording: {error}", None, accepted)
    except UnusableRecording as unusable:
        for each in unusable.errors:
            form.add_error(key, each.detail, quote_input(each.given), each.accepted)


def form_of_inputs(calculator: Calculator[Any, Any], inputs: Mapping[str, Any], decimal: str = ".") -> FormData:
    """Return the form that holds these inputs, for an example."""
    return read_form(calculator, {**texts_of_inputs(calculator, inputs, decimal), "decimal": decimal}, {})


def texts_of_inputs(calculator: Calculator[Any, Any], inputs: Mapping[str, Any], decimal: str = ".") -> dict[str, str]:
    """Return the fields of a form that hold these inputs, as people would type them. A row that is none is blank."""
    texts: dict[str, str] = {}
    for name, value in inputs.items():
        kind = calculator.input_fields[name]
        if isinstance(kind, Table):
            for number, row in enumerate(value if isinstance(value, list) else ()):
                cells = row if isinstance(row, Mapping) else {}
                for column, inner in form_columns(kind).items():
                    if cells.get(column) is not None:
                        texts |= _split_unit(f"{name}.{number}.{column}", inner, to_text(inner, cells[column], decimal))
        elif value is not None:
            texts |= _split_unit(name, kind, to_text(kind, value, decimal))
    return texts


def _split_unit(name: str, kind: Kind, text: str) -> dict[str, str]:
    """Return the fields of a value: the number, and the unit beside it."""
    number, space, unit = text.rpartition(" ")
    if isinstance(kind, Quantity) and space and unit in units.compatible_units(kind.unit):
        return {name: number, f"{name}.unit": unit}
    return {name: text}


def to_text(kind: Kind, value: Any, decimal: str = ".") -> str:
    """Return a JSON value as people would type it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(kind, NumberList) and isinstance(value, list):
        return ("; " if decimal == "," else ", ").join(to_text(kind.item, item, decimal) for item in value)
    if isinstance(kind, TimeSeries) and isinstance(value, Mapping):
        separator = ";" if decimal == "," else ","
        lines = [list(value), *zip(*value.values(), strict=True)]
        rows = [separator.join("" if cell is None else str(cell) for cell in line) for line in lines]
        return "\n".join(rows if decimal == "." else [row.replace(".", ",") for row in rows])
    text = str(value)
    return text.replace(".", ",") if decimal == "," and isinstance(kind, Quantity | Count) else text


def form_query(form: FormData, *, inputs: bool = True, varied: bool = False) -> dict[str, str]:
    """Return the shortest query for a form: filled fields and selected units. Without ``inputs``: the example.

    ``varied`` adds what is varied over a range.
    """
    query: dict[str, str] = {}
    for name, text in form.texts.items() if inputs else ():
        query[name] = text
        if unit := form.units.get(name):
            query[f"{name}.unit"] = unit
    if form.result_units:
        query["units"] = ",".join(f"{name}:{unit}" for name, unit in form.result_units.items())
    for place, axis in zip(("", "2"), form.varied if varied else (), strict=False):
        ends = zip(("vary", "from", "to"), axis, strict=True)
        query |= {f"{end}{place}": text for end, text in ends if text and axis.name}
    if form.decimal != ".":
        query["decimal"] = form.decimal
    return query
