"""Add the inputs of all calculators to the contract: each a schema of its own, which requests and rows refer to."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final

from apispec import APISpec

from gramwatt.engine import craft_fields, registry
from gramwatt.engine.columns import uncertainty_kind
from gramwatt.engine.limits import MAX_RECORDING_COLUMNS
from gramwatt.engine.recordings.columns import MAX_CELL_LENGTH
from gramwatt.engine.schemas import get_schema, get_schema_name
from gramwatt.model import (
    AnyCalculator,
    Choice,
    Count,
    Flag,
    Kind,
    NumberList,
    Quantity,
    RowName,
    Table,
    Text,
    TimeSeries,
    units,
)
from gramwatt.model.messages import join_with_or
from gramwatt.web.openapi import texts
from gramwatt.web.openapi.naming import (
    JsonObject,
    add_schema,
    make_closed_object,
    make_enum,
    refer,
    to_class_name,
    to_variable,
)
from gramwatt.web.openapi.published import get_published_name, list_calculators, list_releases

PRINTABLE: Final = r"^[^\u0000-\u001F\u007F-\u009F\u2028\u2029]+$"
ANY_TEXT: Final = r"^[\s\S]*$"
NAME: Final[JsonObject] = {"type": "string", "pattern": "^[a-z][a-z0-9_]*$", "maxLength": 64}
ROW_NAME: Final[JsonObject] = {"type": "string", "minLength": 1, "maxLength": Text("").max_length, "pattern": PRINTABLE}
CRAFT_TEXT: Final = """\
A craft document: inputs of any calculators, in one object that serves all of them. A calculator takes what it declares;
the columns of the chosen row of a table stand for the inputs of the same name."""


@dataclass
class Inputs:
    """The schemas of all inputs in one contract."""

    spec: APISpec
    names: dict[tuple[str, str], str] = field(default_factory=dict)
    """Names of schemas, by calculator and input."""

    def __post_init__(self) -> None:
        """Add all schemas. Of several declarations of one name the published one, else the usual one has that name."""
        for release in list_releases():
            self._add(release)

    def _add(self, calculators: Iterable[AnyCalculator]) -> None:
        """Add the schemas of some calculators, after those that others have by now."""
        declared: dict[str, list[tuple[AnyCalculator, Kind]]] = {}
        for calculator in calculators:
            for name, kind in calculator.input_fields.items():
                declared.setdefault(name, []).append((calculator, kind))
        for name in sorted(declared, key=lambda name: bool(declared[name][0][1].columns)):  # tables refer to others
            known = {schema for (_, other), schema in self.names.items() if other == name}
            variants: list[tuple[JsonObject, list[str]]] = []
            published: dict[str, str] = {}
            for calculator, kind in declared[name]:
                schema = self._describe(calculator, name, kind)
                published[calculator.name] = get_published_name(calculator, name)
                same = next((owners for each, owners in variants if each == schema), None)
                if same is None:
                    variants.append((schema, [calculator.name]))
                else:
                    same.append(calculator.name)
            usual = sorted(variants, key=lambda variant: -len(variant[1]))
            for schema, owners in sorted(usual, key=lambda variant: not published[variant[1][0]]):
                equal = [each for each in sorted(known) if self.spec.components.schemas[each] == schema]
                own_names = [to_class_name(name), to_class_name(f"{owners[0]}-{name}")]
                names = [*equal, published[owners[0]], *own_names]
                reference = add_schema(self.spec, schema, *filter(None, names))
                self.names |= {(owner, name): reference["$ref"].rpartition("/")[2] for owner in owners}

    def refer(self, calculator: AnyCalculator, name: str) -> JsonObject:
        """Return a reference to the schema of an input."""
        return refer(self.names[calculator.name, name])

    def describe(self, calculator: AnyCalculator, name: str) -> str:
        """Return the description of an input."""
        schema: JsonObject = self.spec.components.schemas[self.names[calculator.name, name]]
        return str(schema["description"])

    def _describe(self, calculator: AnyCalculator, name: str, kind: Kind) -> JsonObject:
        """Return the schema of an input, with its description and default.

        The keyword is not ``default``, since many generated clients send that: a default that is sent is no longer an
        assumption, which is listed as one and has its uncertainty.
        """
        schema = self._make_described(kind, to_class_name(calculator.name))
        default = "derived from other inputs, as `description` says" if calculator.describe_default(name) else ""
        if kind.default is not None:
            schema["x-default"] = kind.default
            default = f"{str(kind.default).lower() if isinstance(kind, Flag) else kind.default}"
        if default:
            schema["description"] += f" Default: {default}."
        return schema

    def _make_described(self, kind: Kind, owner: str) -> JsonObject:
        deprecated = {"deprecated": True} if kind.deprecated else {}
        return {"description": getattr(kind, "description", ""), **self.make(kind, owner), **deprecated}

    def make(self, kind: Kind, owner: str) -> JsonObject:
        """Return the schema of an input without its description; ``owner`` is the prefix of names that are taken."""
        match kind:
            case Quantity():
                return self._make_quantity(kind)
            case Count():
                number = {"type": "integer", "format": "int32", "minimum": kind.at_least, "maximum": kind.at_most}
                if not kind.accepts_labels:
                    return number
                return {"anyOf": [number, {"type": "string", "maxLength": 16, "pattern": kind.labelled_pattern}]}
            case Choice():
                return make_enum(kind.options)
            case Flag():
                return {"type": "boolean"}
            case Text():
                pattern = f"^(?:{kind.pattern})$" if kind.pattern else PRINTABLE
                return {"type": "string", "minLength": 1, "maxLength": kind.max_length, "pattern": pattern}
            case RowName():
                return {**ROW_NAME, "x-row-of": kind.of}
            case TimeSeries():
                return self._make_recording(kind)
            case NumberList():
                item = self._make_quantity(kind.item)
                return _make_array(kind, add_schema(self.spec, item, texts.get_item_name(kind.item)))
            case Table():
                return _make_array(kind, self._make_row(kind, owner))
        raise TypeError(kind)

    def _make_quantity(self, kind: Quantity) -> JsonObject:
        number: JsonObject = {"type": "number", "format": "double"}
        for keyword, bound in (
            ("exclusiveMinimum", kind.above),
            ("minimum", kind.at_least),
            ("exclusiveMaximum", kind.below),
            ("maximum", kind.at_most),
        ):
            if bound is not None:
                number[keyword] = int(bound) if float(bound).is_integer() else bound
        if kind.exact and kind.unit == "1":  # a bare number in quotes is no number, and there is nothing to add to it
            return number
        text = add_schema(self.spec, texts.make_text_schema(kind), texts.get_text_name(kind))
        return {"anyOf": [number, text], "x-unit": kind.unit}

    def _make_recording(self, kind: TimeSeries) -> JsonObject:
        """Return an object of lists by channel. None is required, since a name may have a unit: ``time [ms]``."""
        text = {"type": "string", "maxLength": MAX_CELL_LENGTH, "pattern": ANY_TEXT}
        number: JsonObject = {"type": "number", "format": "double"}
        either = {"anyOf": [number, add_schema(self.spec, text, "ReadingText"), {"type": "null"}]}
        reading = add_schema(self.spec, either, "Reading")
        column: JsonObject = {"type": "array", "maxItems": kind.max_length, "items": reading}
        channels = {name: each for name, each in kind.columns.items() if isinstance(each, Quantity)}
        return {
            "type": "object",
            "maxProperties": MAX_RECORDING_COLUMNS,
            "properties": {
                name: {**column, "description": each.description, "x-unit": each.unit}
                for name, each in channels.items()
            },
            "additionalProperties": {
                **column,
                "description": "A channel with its unit in brackets after the name, or a column that is not used.",
            },
        }

    def _make_row(self, kind: Table, owner: str) -> JsonObject:
        """Add the schema of a row, and return a reference to it."""
        row, columns = kind.row.__name__, kind.input_columns
        properties = {name: self._refer_to_column(column, name, row) for name, column in columns.items()}
        for name, column in columns.items():
            if isinstance(column, Quantity):
                properties[f"{name}_u"] = self._refer_to_uncertainty(uncertainty_kind(name, column))
        required = [name for name, column in columns.items() if column.is_required]
        schema = make_closed_object(properties, required)
        if kind.any_of:
            schema["anyOf"] = [{"required": names} for names in _list_alternatives(kind.any_of)]
        return add_schema(self.spec, schema, row, owner + row)

    def _refer_to_column(self, kind: Kind, name: str, row: str) -> JsonObject:
        schema = self._make_described(kind, row)
        if kind.default is not None:
            schema["x-default"] = kind.default
        return add_schema(self.spec, schema, to_class_name(name), row + to_class_name(name))

    def _refer_to_uncertainty(self, kind: Quantity) -> JsonObject:
        schema = {"description": "Standard uncertainty.", **self._make_quantity(kind)}
        name = to_class_name(f"{units.get_unit(kind.unit).dimension} uncertainty")
        return add_schema(self.spec, schema, name, to_class_name(f"{name} in {to_variable(kind.unit)}"))

    def add_craft(self) -> None:
        """Add the schema of a craft document, derived from the inputs of all calculators."""
        tables = craft_fields.get_tables()
        properties: JsonObject = {}
        for name, kind in craft_fields.get_fields().items():
            if name not in tables:
                takers = [each for each in registry.load().values() if each.input_fields.get(name) == kind]
                properties[name] = self.refer(takers[0], name)
                continue
            table = tables[name]
            first = next(each.input_tables[name] for each in list_calculators() if name in each.input_tables)
            row_name = first.row.__name__
            row = {column: self._refer_to_column(each, column, row_name) for column, each in table.columns.items()}
            for column, each in table.columns.items():
                if isinstance(each, Quantity):
                    row[f"{column}_u"] = self._refer_to_uncertainty(uncertainty_kind(column, each))
            members = dict.fromkeys(craft_fields.list_row_members(table), refer("RowName"))
            items = add_schema(self.spec, make_closed_object({**row, **members}), row_name, f"Craft{row_name}")
            properties[name] = {"type": "array", "maxItems": first.max_length, "items": items}
        description = "The name of a row of a table in the craft document; by default its first row."
        self.spec.components.schemas["RowName"] = {**ROW_NAME, "description": description}
        self.spec.components.schemas["Craft"] = make_closed_object(properties, description=CRAFT_TEXT)

    def add_object(self, calculator: AnyCalculator) -> None:
        """Add the object of a calculator's inputs for bodies, rows, and what a response says was given.

        It requires nothing, since a craft document may give any input. `make_request` does.
        """
        name = get_schema_name(calculator)
        self.spec.components.schema(name, schema=get_schema(calculator))
        schema: JsonObject = self.spec.components.schemas[name]
        schema.pop("required", None)
        members = [member for member in craft_fields.get_choices() if member not in calculator.input_fields]
        schema["properties"] |= {craft_fields.MEMBER: refer("Craft"), **dict.fromkeys(members, refer("RowName"))}
        schema["dependentRequired"] = {member: [craft_fields.MEMBER] for member in members}
        schema["description"] = _describe_needed(calculator)

    def add_request(self, calculator: AnyCalculator) -> JsonObject:
        """Add the body of one request, and return a reference to it: what is needed, or a craft document.

        It is not part of the object of the inputs, since some generators then lose its members.
        """
        inputs = refer(get_schema_name(calculator))
        if not calculator.required_inputs and not calculator.any_of:
            return inputs
        needed = [[*calculator.required_inputs, *names] for names in _list_alternatives(calculator.any_of)]
        either = {"anyOf": [{"required": names} for names in [*needed, [craft_fields.MEMBER]]]}
        return add_schema(self.spec, {"allOf": [inputs, either]}, to_class_name(f"{calculator.name}-request"))


def _make_array(kind: NumberList | Table, items: JsonObject) -> JsonObject:
    return {"type": "array", "minItems": kind.min_length, "maxItems": kind.max_length, "items": items}


def _list_alternatives(groups: Sequence[Sequence[str]]) -> list[list[str]]:
    """Return the smallest sets of names that have one of each group."""
    sets = {frozenset(names): names for names in itertools.product(*groups)}
    return [list(dict.fromkeys(names)) for key, names in sets.items() if not any(other < key for other in sets)]


def _describe_needed(calculator: AnyCalculator) -> str:
    """Return in words which inputs a calculator needs."""
    needed = [*calculator.required_inputs, *(f"one of {join_with_or(group)}" for group in calculator.any_of)]
    if not needed:
        return f"The inputs of {calculator.name}."
    return f"The inputs of {calculator.name}. It needs {', '.join(needed)}, unless a craft gives them."
