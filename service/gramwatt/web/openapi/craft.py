"""Add craft documents to the contract: the schema `Craft`, and the requests that take inputs from one."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Final

from apispec import APISpec

from gramwatt.engine import craft_fields, registry
from gramwatt.model import Kind
from gramwatt.model.messages import join_with_or
from gramwatt.web.openapi import json_schema
from gramwatt.web.openapi.components import JsonObject

CRAFT_TEXT: Final = """\
A craft document: inputs of any calculators, in one object that serves all of them. A calculator takes what it declares;
the columns of the chosen row of a table stand for the inputs of the same name."""
PARAMETER: Final = "craft"
CRAFT_REQUEST: Final = "CraftRequest"
"""The component of the query parameter."""


def add_craft(spec: APISpec) -> None:
    """Add the schema of a craft document, derived from the inputs of all calculators."""
    tables = craft_fields.get_tables()
    properties: dict[str, JsonObject] = {}
    for name, kind in craft_fields.get_fields().items():
        if name not in tables:
            properties[name] = _make_short_schema(kind)
            continue
        table = tables[name]
        columns = {column: craft_fields.get_column_kind(table, column) for column in sorted(table.known)}
        rows = {column: _make_short_schema(each) for column, each in columns.items()}
        members = dict.fromkeys(craft_fields.list_row_members(table), json_schema.ROW_NAME)
        row = json_schema.make_object({**rows, **members})
        properties[name] = {"type": "array", "maxItems": table.kind.max_length, "items": row}
    spec.components.schema("Craft", {**json_schema.make_object(properties), "description": CRAFT_TEXT})
    spec.components.schema(
        CRAFT_REQUEST,
        {
            "type": "object",
            "description": "A craft document, and beside it inputs of the calculator, which take precedence.",
            "properties": dict(list_craft_members()),
            "required": [craft_fields.MEMBER],
        },
    )


def with_craft(inputs_schema: JsonObject) -> JsonObject:
    """Return the schema of a request: the inputs of a calculator, or a craft document that gives some of them."""
    return {"anyOf": [inputs_schema, {"$ref": f"#/components/schemas/{CRAFT_REQUEST}"}]}


def add_craft_parameter(spec: APISpec) -> None:
    """Add the query parameter with a craft document as JSON text."""
    members = join_with_or(craft_fields.get_choices())
    text = {
        "type": "string",
        "contentMediaType": "application/json",
        "enum": [json.dumps(find_example_craft(), ensure_ascii=False)],
    }
    described = {
        "name": craft_fields.MEMBER,
        "required": False,
        "description": "A craft document (see `Craft`) as JSON text. Inputs that it gives may be left out, and "
        f"{members} beside it choose rows of its tables by their names. No schema says which documents are valid, so "
        "this has one example.",
        "schema": text,
    }
    spec.components.parameter(PARAMETER, "query", described)


def find_example_craft() -> JsonObject:
    """Return a craft document with a row of the first table that has rows to choose, from the calculators' examples."""
    for table in craft_fields.get_choices().values():
        for calculator in registry.load().values():
            for example in calculator.examples:
                rows: Any = example.given.get(table)
                if rows and not any(isinstance(cell, dict) for cell in rows[0].values()):
                    return {table: [dict(rows[0])]}
    raise ValueError("no example has a table of a craft")


def _make_short_schema(kind: Kind) -> JsonObject:
    """Return the schema of an input without the texts that the calculators have."""
    schema = json_schema.make_input_schema(kind)
    return {keyword: value for keyword, value in schema.items() if keyword not in ("description", "default")}


def list_craft_members() -> Mapping[str, JsonObject]:
    """Return the schemas of the members of a request that has a craft document."""
    choices = {
        member: {
            **json_schema.ROW_NAME,
            "description": f"The row of {table} to use, by its name; by default the first.",
        }
        for member, table in craft_fields.get_choices().items()
    }
    return {craft_fields.MEMBER: {"$ref": "#/components/schemas/Craft"}, **choices}
