"""The fields of a form as its template shows them: what was typed, the unit, what was assumed, what is wrong."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from gramwatt.charts.formatting import value
from gramwatt.engine.messages import InputError, format_number
from gramwatt.model import Calculator
from gramwatt.web.pages.description import described, first_example
from gramwatt.web.pages.form_reader import FormData


@dataclass(frozen=True, slots=True)
class Field:
    """One control, or a table of rows of them. ``about`` is its entry in the calculator's description."""

    key: str
    """Its name in the form, and its id."""
    about: Mapping[str, Any]
    value: str = ""
    unit: str = ""
    assumed: str = ""
    """What stands in its place while it is empty."""
    errors: tuple[InputError, ...] = ()
    rows: tuple[tuple[Field, ...], ...] = ()
    blank: tuple[Field, ...] = ()
    """Of a table: the fields of a row to add, with ``#`` for its place."""


@dataclass(slots=True)
class Shown:
    """A form: the fields that matter first, the others, and faults that belong to no field."""

    first: list[Field] = field(default_factory=list)
    more: list[Field] = field(default_factory=list)
    open: bool = False
    """Whether the others are to be seen at once, as one of them is filled or wrong."""
    stray: list[InputError] = field(default_factory=list)
    wrong: list[tuple[str, str, InputError]] = field(default_factory=list)
    """Every fault with the id and the label of its field, for the list above the form."""

    @property
    def every(self) -> Iterator[Field]:
        """Every field, those in rows of tables included."""
        for made in (*self.first, *self.more):
            yield made
            for row in made.rows:
                yield from row


def fields(
    calculator: Calculator[Any, Any], form: FormData, answer: Mapping[str, Any] | None, errors: Iterable[InputError]
) -> Shown:
    """The form to show. With an answer, fields left empty tell what was assumed for them."""
    by_field: dict[str, list[InputError]] = {}
    for error in errors:
        by_field.setdefault(_shown(form, error.pointer[1:].replace("/", ".")), []).append(error)
    shown, about = Shown(), described(calculator)
    needed = {name for group in calculator.any_of for name in group} | set(first_example(calculator).given)
    for each in about["inputs"]:
        made = _field(each["name"], each, form, answer, by_field, calculator)
        if each["required"] or each["name"] in needed:
            shown.first.append(made)
        else:
            shown.more.append(made)
            shown.open = shown.open or bool(made.value or made.errors or made.rows)
    for made in (*shown.first, *shown.more):
        for inner in (made, *(cell for row in made.rows for cell in row)):
            shown.wrong += [(inner.key, _label(made, inner), error) for error in inner.errors]
    shown.stray = [error for left in by_field.values() for error in left]
    return shown


def _shown(form: FormData, name: str) -> str:
    """The field that shows what the question has under a name: there blank rows have no place."""
    table, dot, rest = name.partition(".")
    place, _, column = rest.partition(".")
    places = form.places.get(table, [])
    if not dot or not place.isdecimal() or int(place) >= len(places):
        return name
    return f"{table}.{places[int(place)]}" + (f".{column}" if column else "")


def _label(outer: Field, inner: Field) -> str:
    if inner is outer:
        return str(outer.about["label"])
    return f"{outer.about['label']}, row {int(inner.key.split('.')[1]) + 1}, {inner.about['label']}"


def _field(
    key: str,
    about: Mapping[str, Any],
    form: FormData,
    answer: Mapping[str, Any] | None,
    errors: dict[str, list[InputError]],
    calculator: Calculator[Any, Any] | None = None,
) -> Field:
    if about["kind"] == "table":
        columns: Sequence[Mapping[str, Any]] = about["columns"]
        count = form.rows.get(key, 0)
        rows = tuple(
            tuple(_field(f"{key}.{at}.{column['name']}", column, form, None, errors) for column in columns)
            for at in range(count)
        )
        blank = tuple(Field(f"{key}.#.{column['name']}", column, assumed=_default(column, form)) for column in columns)
        mine = [*errors.pop(key, ())]
        for name in [each for each in errors if each.startswith(f"{key}.")]:
            mine += errors.pop(name)  # of a whole row, or of one that is not shown
        return Field(key, about, errors=tuple(mine), rows=rows, blank=blank)
    own = errors.pop(key, [])
    if about["kind"] in ("series", "samples"):
        for name in [each for each in errors if each.startswith(f"{key}.")]:
            own += errors.pop(name)
    assumed = _assumed(about, answer, form) if answer is not None and calculator is not None else ""
    unit = form.units.get(key, "") or about.get("unit", "")
    return Field(key, about, form.words.get(key, ""), unit, assumed or _default(about, form), tuple(own))


def _assumed(about: Mapping[str, Any], answer: Mapping[str, Any], form: FormData) -> str:
    """What the answer says was assumed, or worked out, for an input."""
    name = about["name"]
    if name not in answer["assumed"] and name not in answer.get("solved", ()):
        return ""
    found = answer["given"].get(name)
    if isinstance(found, bool):
        return "yes" if found else "no"
    if isinstance(found, int | float):
        return value(found, about.get("unit", "1"), 6).replace(".", form.decimal)
    return str(found) if found is not None else ""


def _default(about: Mapping[str, Any], form: FormData) -> str:
    default = about.get("default")
    if default is None:
        return ""
    if isinstance(default, bool):
        return "yes" if default else "no"
    if isinstance(default, int | float):
        unit = about.get("unit", "1")
        return (format_number(default) + ("" if unit == "1" else f" {unit}")).replace(".", form.decimal)
    return str(default)
