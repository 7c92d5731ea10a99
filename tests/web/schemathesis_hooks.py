"""What no JSON Schema can say of a request: whose rows its names are, and what follows from a craft document."""

import re
from typing import Any

import schemathesis

from gramwatt.engine import craft_fields, registry
from gramwatt.web.openapi.json_schema import PRINTABLE

MAX_NAME_LENGTH = 80


def _is_valid_name(value: object) -> bool:
    """Return whether the contract allows a text, so that only its meaning can be wrong."""
    return isinstance(value, str) and len(value) <= MAX_NAME_LENGTH and re.search(PRINTABLE, value) is not None


def _list_dicts(rows: object) -> list[dict[str, Any]]:
    return [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []


@schemathesis.hook
def filter_case(context: schemathesis.HookContext, case: Any) -> bool:
    """Leave out craft documents and names of their rows: what a calculator takes from them no schema says."""
    body = case.body
    given = body.get("given") if isinstance(body, dict) else None
    members = {craft_fields.MEMBER, *craft_fields.get_choices()}
    return not any(isinstance(each, dict) and not members.isdisjoint(each) for each in (body, given))


@schemathesis.hook
def map_body(context: schemathesis.HookContext, body: Any) -> Any:
    """Leave out valid names of rows that no row has, or more than one. What is invalid stays as it is."""
    operation = context.operation
    name = operation.path.removeprefix("/v1/") if operation is not None else ""
    if name not in registry.list_names() or not isinstance(body, dict):
        return body
    for path, kind in registry.get(name).row_names.items():
        owner, _, column = path.partition(".")
        names = [row.get("name") for row in _list_dicts(body.get(kind.of))]
        for row in _list_dicts(body.get(owner)) if column else [body]:
            value = row.get(column or owner)
            if _is_valid_name(value) and names.count(value) != 1:
                del row[column or owner]
    return body
