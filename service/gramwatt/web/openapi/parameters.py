"""Add the query parameters of the contract: inputs, options, and the axes of a sweep."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any, Final

from apispec import APISpec

from gramwatt.charts.formatting import label_with_unit
from gramwatt.engine import craft_fields, registry
from gramwatt.engine.limits import MAX_AXES
from gramwatt.engine.nested import MAX_QUERY_LIST_LENGTH
from gramwatt.model import AnyCalculator, Kind, NumberList, units
from gramwatt.model.messages import join_with_or
from gramwatt.web.chart_options import CHART_OPTIONS, make_chart_option
from gramwatt.web.openapi.inputs import ANY_TEXT, Inputs
from gramwatt.web.openapi.naming import (
    JsonObject,
    add_component,
    add_schema,
    make_enum,
    refer,
    to_class_name,
    to_identifier,
)
from gramwatt.web.openapi.published import list_calculators
from gramwatt.web.recording_options import get_log_options
from gramwatt.web.request_parsing import VALUE_OPTIONS, get_response_options
from gramwatt.web.table_options import get_max_points

CRAFT: Final = craft_fields.MEMBER
_UNITS_PATTERN: Final = r"^[a-z0-9_.]+:[^,:]+(?:,[a-z0-9_.]+:[^,:]+)*$"
_LIST: Final[JsonObject] = {"style": "form", "explode": False}


class Parameters:
    """The query parameters of one contract; each method returns the components of some operations."""

    def __init__(self, spec: APISpec, inputs: Inputs) -> None:
        self._spec, self._inputs = spec, inputs
        self._examples: dict[str, Any] = {}
        for calculator in registry.load().values():
            for example in calculator.examples:
                self._examples = {**example.given, **self._examples}
        text = "Inputs by name, as the path of all results takes them. In a batch they hold for every row."
        values = {"type": "object", "additionalProperties": {"type": "string", "maxLength": 1000, "pattern": ANY_TEXT}}
        self._add("inputs", "inputs", values, text, style="form", explode=True)

    def list_inputs(self, calculator: AnyCalculator) -> list[str]:
        """Return the inputs of one request. None is required, since a craft document may give any."""
        return [*(self._add_input(calculator, name) for name in _list_fitting(calculator)), *self._list_craft()]

    def list_axes(self, calculator: AnyCalculator) -> list[str]:
        """Return what a sweep varies, and the values or the range of each varied input."""
        points = get_max_points(calculator)
        count = {"type": "integer", "format": "int32", "minimum": 2, "maximum": points}
        listed = {"type": "string", "maxLength": 10_000, "pattern": ANY_TEXT}
        return [
            self._add_list(
                f"{to_identifier(calculator)}_vary",
                "vary",
                self.list_names(calculator),
                "The input that a sweep varies, or two for a grid.",
            ),
            self._add_list(
                "values",
                "values",
                listed,
                "Its values, separated by commas, in the order of `vary`; empty for an input with a range.",
            ),
            self._add_list("from", "from", refer("RangeEnd"), "Start of its range, in its unit or with another."),
            self._add_list("to", "to", refer("RangeEnd"), "End of its range."),
            self._add_list(f"count_up_to_{points}", "count", count, "Number of points, including both ends."),
        ]

    def list_names(self, calculator: AnyCalculator) -> JsonObject:
        """Return the schema of the name of an input."""
        return add_schema(
            self._spec, make_enum(list(calculator.input_fields)), f"{to_class_name(calculator.name)}Input"
        )

    def list_options(self, calculator: AnyCalculator) -> list[str]:
        """Return the options of a response."""
        return self._add_options(get_response_options(calculator), "response", calculator)

    def list_value_options(self, calculator: AnyCalculator) -> list[str]:
        """Return the options of a bare value."""
        spellings = [
            spelling for dimension in units.UNITS.values() for spelling in dimension if spelling != units.INCH_MARK
        ]
        schema = add_schema(self._spec, make_enum(spellings), "Unit")
        unit = self._add("unit", "unit", schema, "Unit of the value, one of its dimension.")
        others = {name: kind for name, kind in VALUE_OPTIONS.items() if name != "unit"}
        return [unit, *self._add_options(others, "value", calculator)]

    def list_table_options(self, calculator: AnyCalculator, options: Mapping[str, Kind]) -> list[str]:
        """Return the options of a batch or of a sweep."""
        return self._add_options(options, "table", calculator)

    def list_chart_options(self, calculator: AnyCalculator) -> list[str]:
        """Return the options of a chart."""
        return self._add_options({**CHART_OPTIONS, "chart": make_chart_option(calculator)}, "chart", calculator)

    def list_log_options(self, calculator: AnyCalculator) -> list[str]:
        """Return the options of a recording that is the body of a request."""
        return self._add_options(get_log_options(calculator), "log", calculator)

    def _add(self, component: str, name: str, schema: JsonObject, description: str, **more: Any) -> str:
        parameter = {"name": name, "in": "query", "description": description, "schema": schema, **more}
        return add_component(self._spec, "parameters", parameter, component)

    def _add_input(self, calculator: AnyCalculator, name: str) -> str:
        kind = calculator.input_fields[name]
        schema, more = self._inputs.refer(calculator, name), {}
        declared = self._spec.components.schemas[self._inputs.names[calculator.name, name]]
        if "anyOf" in declared:  # no difference for one value, but Java's generated clients fail at an exploded one
            more = {"explode": False}
        if isinstance(kind, NumberList):  # fewer than in a body
            schema = {**declared, "maxItems": min(kind.max_length, MAX_QUERY_LIST_LENGTH)}
            del schema["description"]
            more = _LIST
        if name in self._examples:
            more = {**more, "example": self._examples[name]}
        return self._add(self._name(calculator, name), name, schema, f"{label_with_unit(name, kind)}.", **more)

    def _add_list(self, component: str, name: str, items: JsonObject, description: str) -> str:
        """Add a parameter that a query may repeat."""
        schema = {"type": "array", "maxItems": MAX_AXES, "items": items}
        return self._add(component, name, schema, description)

    def _name(self, calculator: AnyCalculator, name: str) -> str:
        """Return the name of an input's component: that of the calculator is in it where that of the schema has it."""
        schema = self._inputs.names[calculator.name, name]
        owner = next(each for each in list_calculators() if self._inputs.names.get((each.name, name)) == schema)
        plain = schema.lower() == name.replace("_", "").lower()
        return name if plain else f"{to_identifier(owner)}_{name}"

    def _list_craft(self) -> list[str]:
        text = {"type": "string", "minLength": 2, "maxLength": 8190, "pattern": ANY_TEXT}
        text |= {"contentMediaType": "application/json", "contentSchema": refer("Craft")}
        members = craft_fields.get_choices()
        description = (
            f"A craft document (see `Craft`) as JSON text. {join_with_or(members)} beside it choose rows of it."
        )
        craft = self._add(CRAFT, CRAFT, text, description, example=json.dumps(find_example_craft(), ensure_ascii=False))
        return [
            craft,
            *(
                self._add(member, member, refer("RowName"), f"The row of {table} in the craft, by its name.")
                for member, table in members.items()
            ),
        ]

    def _add_options(self, options: Mapping[str, Kind], group: str, calculator: AnyCalculator) -> list[str]:
        """Add options. Those that a calculator shares with others have the name of the option, or of its group."""
        own = {"chart", *(["format"] if calculator.formats and group in ("response", "log") else [])}
        references = []
        for name, kind in options.items():
            names = [f"{to_identifier(calculator)}_{name}"] if name in own else [name, f"{group}_{name}"]
            schema = self._inputs.make(kind, "")
            if "enum" in schema:  # else each operation has a class of its own in generated code
                schema = add_schema(self._spec, schema, *map(to_class_name, names))
            if kind.default is not None:
                schema["default"] = kind.default
            if name == "units":
                schema["pattern"] = _UNITS_PATTERN
            parameter = {"name": name, "in": "query", "description": getattr(kind, "description", ""), "schema": schema}
            references.append(add_component(self._spec, "parameters", parameter, *names))
        return references


def _list_fitting(calculator: AnyCalculator) -> Iterable[str]:
    return (name for name, kind in calculator.input_fields.items() if kind.fits_query)


def find_example_craft() -> JsonObject:
    """Return a craft document with a row of the first table that has rows to choose, from the calculators' examples."""
    for table in craft_fields.get_choices().values():
        for calculator in registry.load().values():
            for example in calculator.examples:
                rows: Any = example.given.get(table)
                if rows and not any(isinstance(cell, dict) for cell in rows[0].values()):
                    return {table: [dict(rows[0])]}
    raise ValueError("no example has a table of a craft")
