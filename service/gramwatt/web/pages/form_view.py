"""A form as the templates show it: what was typed, units, assumed values, errors."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from gramwatt.charts.formatting import add_unit, format_value
from gramwatt.model import Calculator
from gramwatt.model.messages import InputError, format_number
from gramwatt.web.pages.description import describe_calculator, first_example
from gramwatt.web.pages.form_reader import FormData


@dataclass(frozen=True, slots=True)
class Field:
    """One control, or a table of rows of controls."""

    key: str
    """Its name in the form, and its id."""
    description: Mapping[str, Any]
    """Its entry in the calculator's description."""
    value: str = ""
    unit: str = ""
    assumed: str = ""
    """The value used while the field is empty."""
    errors: tuple[InputError, ...] = ()
    rows: tuple[tuple[Field, ...], ...] = ()
    new_row: tuple[Field, ...] = ()
    """In a table: the fields of a row to add, with ``#`` for its number."""


@dataclass(slots=True)
class FormView:
    """The fields of a form."""

    main: list[Field] = field(default_factory=list)
    extra: list[Field] = field(default_factory=list)
    """Optional fields, folded away."""
    extra_open: bool = False
    """Whether to unfold them, since one of them is filled in or wrong."""
    field_errors: list[tuple[str, str, InputError]] = field(default_factory=list)
    """Every error of a field, with the field's id and label, for the list above the form."""
    other_errors: list[InputError] = field(default_factory=list)
    """Errors that belong to no field."""

    @property
    def all_fields(self) -> Iterator[Field]:
        """Every field, those in the rows of tables included."""
        for each in (*self.main, *self.extra):
            yield each
            for row in each.rows:
                yield from row


def make_form_view(
    calculator: Calculator[Any, Any], form: FormData, response: Mapping[str, Any] | None, errors: Iterable[InputError]
) -> FormView:
    """Return the form to show. With a response, empty fields show what was assumed for them."""
    by_field: dict[str, list[InputError]] = {}
    for error in errors:
        by_field.setdefault(_field_key(form, error.pointer[1:].replace("/", ".")), []).append(error)
    view = FormView()
    builder = _FieldBuilder(form, by_field)
    main_names = {name for group in calculator.any_of for name in group} | set(first_example(calculator).given)
    for description in describe_calculator(calculator)["inputs"]:
        name = description["name"]
        field = builder.field(name, description, response)
        if description["required"] or name in main_names:
            view.main.append(field)
        else:
            view.extra.append(field)
            view.extra_open = view.extra_open or bool(field.value or field.errors or field.rows)
    for outer in (*view.main, *view.extra):
        for inner in (outer, *(cell for row in outer.rows for cell in row)):
            view.field_errors += [(inner.key, _label(outer, inner), error) for error in inner.errors]
    view.other_errors = [error for remaining in by_field.values() for error in remaining]
    return view


def _field_key(form: FormData, name: str) -> str:
    """Return the field for a name in the inputs: the form also has blank rows, which the inputs leave out."""
    table, dot, rest = name.partition(".")
    row, _, column = rest.partition(".")
    filled_rows = form.filled_rows.get(table, [])
    if not dot or not row.isdecimal() or int(row) >= len(filled_rows):
        return name
    return f"{table}.{filled_rows[int(row)]}" + (f".{column}" if column else "")


def _label(outer: Field, inner: Field) -> str:
    if inner is outer:
        return str(outer.description["label"])
    return f"{outer.description['label']}, row {int(inner.key.split('.')[1]) + 1}, {inner.description['label']}"


@dataclass(frozen=True, slots=True)
class _FieldBuilder:
    """Builds fields, and takes from ``errors`` those that it has placed."""

    form: FormData
    errors: dict[str, list[InputError]]

    def field(self, key: str, description: Mapping[str, Any], response: Mapping[str, Any] | None) -> Field:
        """Return the field of an input, or of a column in a row where there is no response."""
        kind = description["kind"]
        if kind == "table":
            return self._table(key, description)
        errors = self.errors.pop(key, [])
        if kind in ("series", "samples"):
            errors += self._pop_errors_within(key)
        assumed = self._assumed(description, response) if response is not None else ""
        return Field(
            key,
            description,
            self.form.texts.get(key, ""),
            self.form.units.get(key, "") or description.get("unit", ""),
            assumed or self._default(description),
            tuple(errors),
        )

    def _table(self, key: str, description: Mapping[str, Any]) -> Field:
        columns = description["columns"]
        rows = tuple(
            tuple(self.field(f"{key}.{row}.{column['name']}", column, None) for column in columns)
            for row in range(self.form.row_counts.get(key, 0))
        )
        new_row = tuple(Field(f"{key}.#.{column['name']}", column, assumed=self._default(column)) for column in columns)
        errors = [*self.errors.pop(key, ()), *self._pop_errors_within(key)]  # of a whole row, or of one not shown
        return Field(key, description, errors=tuple(errors), rows=rows, new_row=new_row)

    def _pop_errors_within(self, key: str) -> list[InputError]:
        names = [name for name in self.errors if name.startswith(f"{key}.")]
        return [error for name in names for error in self.errors.pop(name)]

    def _assumed(self, description: Mapping[str, Any], response: Mapping[str, Any]) -> str:
        """Return the value that the response assumed, or solved for, in place of an input."""
        name = description["name"]
        if name not in response["assumed"] and name not in response.get("solved", ()):
            return ""
        match response["inputs"].get(name):
            case bool() as value:
                return "yes" if value else "no"
            case (int() | float()) as value:
                return format_value(value, description.get("unit", "1"), 6).replace(".", self.form.decimal)
            case None:
                return ""
            case value:
                return str(value)

    def _default(self, description: Mapping[str, Any]) -> str:
        match description.get("default"):
            case bool() as value:
                return "yes" if value else "no"
            case (int() | float()) as value:
                return add_unit(format_number(value), description.get("unit", "1")).replace(".", self.form.decimal)
            case None:
                return ""
            case value:
                return str(value)
