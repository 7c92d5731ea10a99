"""A form as the templates show it: groups of fields, what was typed, units, assumed values, errors."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

from gramwatt.charts.formatting import add_unit, format_value, unit_sign
from gramwatt.model import Calculator, Group, units
from gramwatt.model.messages import InputError, format_number
from gramwatt.web.pages.description import describe_calculator, first_example
from gramwatt.web.pages.form_reader import FormData

WITH_UNIT_MENU: Final = frozenset({"charge", "length", "mass", "pressure", "speed", "temperature"})
"""Dimensions whose units differ between countries and trades; in others a unit can be typed."""
TYPICAL_DIGITS: Final = 4
"""Significant digits of an assumed value."""
OTHER_INPUTS: Final = "Inputs"
"""The heading of inputs that are declared in no group."""


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
    options: tuple[str, ...] = ()
    """Of a field that names a row of another table: the names there."""
    rows: tuple[tuple[Field, ...], ...] = ()
    new_row: tuple[Field, ...] = ()
    """In a table: the fields of a row to add, with ``#`` for its number."""
    rare: frozenset[str] = frozenset()
    """In a table: the columns that are shown on demand only."""

    @property
    def has_unit_menu(self) -> bool:
        """Whether it has a menu of units; else its label has the unit."""
        return _has_unit_menu(self.description, "." in self.key)

    @property
    def label_unit(self) -> str:
        """The unit that the label shows, empty where there is a menu."""
        return "" if self.has_unit_menu else str(self.description.get("unit", "1"))

    @property
    def row_errors(self) -> list[Field]:
        """In a table: the fields with errors."""
        return [each for row in self.rows for each in row if each.errors]

    @property
    def row_number(self) -> str:
        """In a row: its number, from 1; ``#`` in a row to add."""
        row = self.key.split(".")[1]
        return str(int(row) + 1) if row.isdecimal() else row


def _has_unit_menu(description: Mapping[str, Any], in_row: bool) -> bool:
    unit = description.get("unit", "1")
    if in_row or unit == "1" or description["kind"] != "quantity" or len(description["units"]) < 2:
        return False
    return units.get_unit(unit).dimension in WITH_UNIT_MENU


@dataclass(slots=True)
class FieldGroup:
    """Fields under one heading."""

    heading: str
    fields: list[Field]
    folded: bool = False
    open: bool = False
    """Of a folded group: whether to unfold it, since one of its fields is filled in or wrong."""


@dataclass(slots=True)
class FormView:
    """The fields of a form."""

    groups: list[FieldGroup] = field(default_factory=list)
    field_errors: list[tuple[str, str, str]] = field(default_factory=list)
    """Id and label of a field and what follows the label, for each error of a field, in the list beside the form."""
    other_errors: list[InputError] = field(default_factory=list)
    """Errors that belong to no field."""

    @property
    def all_fields(self) -> Iterator[Field]:
        """Every field, those in the rows of tables included."""
        for group in self.groups:
            for each in group.fields:
                yield each
                for row in each.rows:
                    yield from row

    def keep_only(self, names: Iterable[str]) -> None:
        """Leave out all other fields, and the headings."""
        wanted = set(names)
        self.groups = [FieldGroup("", [each for each in self.all_fields if each.key in wanted])]


def make_form_view(
    calculator: Calculator[Any, Any], form: FormData, response: Mapping[str, Any] | None, errors: Iterable[InputError]
) -> FormView:
    """Return the form to show. With a response, empty fields show what was assumed for them."""
    by_field: dict[str, list[InputError]] = {}
    for error in errors:
        by_field.setdefault(_field_key(form, error.pointer[1:].replace("/", ".")), []).append(error)
    example = first_example(calculator).given
    builder = _FieldBuilder(form, by_field, example)
    main_names = {name for group in calculator.any_of for name in group} | set(example)
    groups: dict[str, FieldGroup] = {}
    for description in describe_calculator(calculator)["inputs"]:
        name = description["name"]
        field = builder.field(name, description, response)
        declared = description["group"]
        if not declared:
            declared = OTHER_INPUTS if description["required"] or name in main_names else Group.FINE_TUNING
        folded = declared == Group.FINE_TUNING
        group = groups.setdefault(declared, FieldGroup(str(declared), [], folded))
        group.fields.append(field)
        group.open = group.open or (folded and bool(field.value or field.errors or field.rows))
    view = FormView(sorted(groups.values(), key=_group_order))
    for group in view.groups:
        for outer in group.fields:
            for inner in (outer, *(cell for row in outer.rows for cell in row)):
                label = _label(outer, inner)
                view.field_errors += [(inner.key, label, _text_after_label(error, inner)) for error in inner.errors]
    view.other_errors = [error for remaining in by_field.values() for error in remaining]
    return view


def _group_order(group: FieldGroup) -> int:
    """Return the place of a group: a recording that must be given comes first."""
    kinds = [each.description["kind"] for each in group.fields if each.description["required"]]
    return -1 if "samples" in kinds else [OTHER_INPUTS, *Group].index(group.heading)


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
    return f"{outer.description['label']}, row {inner.row_number}, {inner.description['label']}"


def _text_after_label(error: InputError, field: Field) -> str:
    """Return what is wrong, to follow the field's label: `` is required``, else ``: `` and a sentence of its own."""
    label = str(field.description["label"])
    return error.detail.removeprefix(label) if error.detail.startswith(f"{label} ") else f": {error.detail}"


def _use_label(error: InputError, description: Mapping[str, Any]) -> InputError:
    """Return an error about a field with the field's label in place of its name."""
    rest = error.detail.removeprefix(f"{description['name']} ")
    return error if rest == error.detail else replace(error, detail=f"{description['label']} {rest}")


@dataclass(frozen=True, slots=True)
class _FieldBuilder:
    """Builds fields, and takes from ``errors`` those that it has placed."""

    form: FormData
    errors: dict[str, list[InputError]]
    example: Mapping[str, Any]

    def field(self, key: str, description: Mapping[str, Any], response: Mapping[str, Any] | None) -> Field:
        """Return the field of an input, or of a column in a row where there is no response."""
        kind = description["kind"]
        if kind == "table":
            return self._table(key, description)
        errors = [_use_label(error, description) for error in self.errors.pop(key, [])]
        if kind in ("series", "samples"):
            errors += self._pop_errors_within(key)
        assumed = self._assumed(description, response) if response is not None else ""
        value, unit = self.form.texts.get(key, ""), self.form.units.get(key, "")
        if unit and not _has_unit_menu(description, "." in key):
            sign = unit_sign(unit)  # without a menu the unit is in the field
            value, unit = f"{value} {sign if sign in description['units'] else unit}", ""
        return Field(
            key,
            description,
            value,
            unit or description.get("unit", ""),
            assumed or self._default(description),
            tuple(errors),
            self._row_names(description),
        )

    def _row_names(self, description: Mapping[str, Any]) -> tuple[str, ...]:
        """Return the names of the rows that a field may name."""
        table = description.get("row_of", "")
        texts = (self.form.texts.get(f"{table}.{row}.name", "") for row in range(self.form.row_counts.get(table, 0)))
        return tuple(dict.fromkeys(text.strip() for text in texts if text.strip()))

    def _table(self, key: str, description: Mapping[str, Any]) -> Field:
        columns = description["columns"]
        rows = tuple(
            tuple(self.field(f"{key}.{row}.{column['name']}", column, None) for column in columns)
            for row in range(self.form.row_counts.get(key, 0))
        )
        new_row = tuple(
            Field(
                f"{key}.#.{column['name']}",
                column,
                assumed=self._default(column),
                options=self._row_names(column),
            )
            for column in columns
        )
        errors = [*self.errors.pop(key, ()), *self._pop_errors_within(key)]  # of a whole row, or of one not shown
        return Field(
            key,
            description,
            errors=tuple(errors),
            rows=rows,
            new_row=new_row,
            rare=self._rare_columns(key, description),
        )

    def _rare_columns(self, key: str, description: Mapping[str, Any]) -> frozenset[str]:
        """Return the columns that few rows have: optional, not in the example, and empty in the form."""
        usual = {name for group in description["any_of"] for name in group} | {"name"}
        usual |= {column for row in self.example.get(key, ()) for column in row}
        usual |= {
            column
            for table, row, column in (name.split(".") for name in self.form.texts if name.count(".") == 2)
            if table == key and row.isdecimal()
        }
        names = {column["name"] for column in description["columns"] if not column["required"]}
        return frozenset(names - usual)

    def _pop_errors_within(self, key: str) -> list[InputError]:
        names = [name for name in self.errors if name.startswith(f"{key}.")]
        return [error for name in names for error in self.errors.pop(name)]

    def _assumed(self, description: Mapping[str, Any], response: Mapping[str, Any]) -> str:
        """Return the value that the response assumed or computed, in place of an input."""
        name = description["name"]
        if name not in response["assumed"] and name not in response.get("computed", ()):
            return ""
        match response["inputs"].get(name):
            case bool() as value:
                return "yes" if value else "no"
            case (int() | float()) as value:
                return self._number(
                    format_value(value, response["input_units"].get(name, "1"), TYPICAL_DIGITS), description
                )
            case None:
                return ""
            case value:
                return str(value)

    def _default(self, description: Mapping[str, Any]) -> str:
        match description.get("default"):
            case bool() as value:
                return "yes" if value else "no"
            case (int() | float()) as value:
                return self._number(add_unit(format_number(value), description.get("unit", "1")), description)
            case None:
                return ""
            case value:
                return str(value)

    def _number(self, text: str, description: Mapping[str, Any]) -> str:
        """Return a number without its unit, which the label or the menu has."""
        return text.removesuffix(unit_sign(description.get("unit", "1"))).rstrip().replace(".", self.form.decimal)
