"""Schemas in words: the type of a value with its bounds, and the members of an object as rows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from markupsafe import Markup, escape

from gramwatt.model.messages import join_with_and, unit_sign
from gramwatt.web.contract_pages.contract import Contract, JsonObject, get_schema_name
from gramwatt.web.pages.reference import format_count

MAX_OPTIONS: Final = 6
"""Options of a value that are listed in place; its own page has all."""
MAX_DEPTH: Final = 3
EXPANDED: Final = ("results",)
"""Members of a response whose own members are listed too, though their schema has a name."""
_WORDS: Final = {"string": "text", "null": "null", "boolean": "true or false", "object": "object"}
_SEPARATOR: Final = Markup(" or ")


@dataclass(frozen=True, slots=True)
class Member:
    """A member of an object: ``inputs.cells`` of an object within it."""

    name: str
    type: Markup
    required: bool
    unit: str
    default: str
    description: str


def describe_type(contract: Contract, schema: JsonObject) -> Markup:
    """Return the type of a value in words, with links to the schemas of objects and of texts with a form."""
    reference = schema.get("$ref")
    if reference is not None:
        name = get_schema_name(reference)
        target = contract.schemas[name]
        return link_schema(name) if _has_page_only(target) else describe_type(contract, target)
    for word in ("anyOf", "oneOf"):
        if word in schema and "properties" not in schema:
            return _SEPARATOR.join(dict.fromkeys(describe_type(contract, each) for each in schema[word]))
    if "allOf" in schema:
        return Markup(" and ").join(describe_type(contract, each) for each in schema["allOf"])
    if "const" in schema:
        return Markup("<code>{}</code>").format(schema["const"])
    if "enum" in schema:
        return _list_options(schema["enum"])
    names = schema.get("type", "any value")
    if isinstance(names, list):
        return _SEPARATOR.join(_describe_one(contract, schema, name) for name in names)
    return _describe_one(contract, schema, names)


def link_schema(name: str) -> Markup:
    """Return a link to the page of a schema."""
    return Markup('<a href="/docs/schemas/{0}">{0}</a>').format(name)


def _has_page_only(schema: JsonObject) -> bool:
    """Return whether a schema is too much to be described in place: an object, a list of some, a text with a form."""
    if "pattern" in schema and len(schema["pattern"]) > 40:
        return True
    if len(schema.get("enum", ())) > MAX_OPTIONS:
        return True
    return "properties" in schema or "allOf" in schema or schema.get("type") in ("array", "object")


def _list_options(options: list[Any]) -> Markup:
    shown = _SEPARATOR.join(Markup("<code>{}</code>").format(option) for option in options[:MAX_OPTIONS])
    more = len(options) - MAX_OPTIONS
    return shown if more <= 0 else Markup("{} or {} more").format(shown, more)


def _describe_one(contract: Contract, schema: JsonObject, name: str) -> Markup:
    match name:
        case "integer" | "number":
            return escape(f"{name} {_describe_range(schema)}".rstrip())
        case "array":
            items = describe_type(contract, schema.get("items", {}))
            size = _describe_size(schema, "Items")
            size = f" ({size})" if size else ""
            is_union = _SEPARATOR in items
            return (
                Markup("list{}, each {}").format(size, items)
                if is_union
                else Markup("list of {}{}").format(items, size)
            )
        case "object" if isinstance(schema.get("additionalProperties"), dict):
            return Markup("object of {}").format(describe_type(contract, schema["additionalProperties"]))
        case "string":
            size = _describe_size(schema, "Length")
            form = f", {schema['format']}" if "format" in schema else ""
            return escape(f"text{form}" + (f" ({size} characters)" if size else ""))
        case _:
            return escape(_WORDS.get(name, name))


def _describe_range(schema: JsonObject) -> str:
    """Return the bounds of a number: ``1 to 24``, ``above 0``."""
    low = format_count(schema["minimum"]) if "minimum" in schema else ""
    low = f"above {format_count(schema['exclusiveMinimum'])}" if "exclusiveMinimum" in schema else low
    high = format_count(schema["maximum"]) if "maximum" in schema else ""
    high = f"below {format_count(schema['exclusiveMaximum'])}" if "exclusiveMaximum" in schema else high
    if low and high:
        return f"{low} to {high}"
    return low if low.startswith("above") else f"from {low}" if low else f"up to {high}" if high else ""


def _describe_size(schema: JsonObject, of: str) -> str:
    low, high = schema.get(f"min{of}"), schema.get(f"max{of}")
    if low is not None and high is not None:
        return format_count(low) if low == high else f"{format_count(low)} to {format_count(high)}"
    return f"up to {format_count(high)}" if high is not None else f"from {format_count(low)}" if low is not None else ""


def get_default(contract: Contract, schema: JsonObject) -> str:
    """Return the default of a value as JSON has it; empty without one."""
    schema = contract.resolve(schema)
    for each in (schema, *schema.get("anyOf", ())):
        default = each.get("x-default", each.get("default"))
        if default is not None:
            return str(default).lower() if isinstance(default, bool) else str(default)
    return ""


def get_unit(contract: Contract, schema: JsonObject) -> str:
    """Return the unit of a value as people write it; empty without one."""
    return unit_sign(str(contract.resolve(schema).get("x-unit", "1")))


def describe_requirements(contract: Contract, schema: JsonObject) -> str:
    """Return which members an object needs where there is a choice: ``cells and capacity, or craft``; else nothing."""
    schema = contract.resolve(schema)
    for each in (schema, *map(contract.resolve, schema.get("allOf", ()))):
        groups = [part["required"] for part in each.get("anyOf", ()) if "required" in part]
        if groups:
            return ", or ".join(join_with_and(group) for group in groups)
    return ""


def list_members(contract: Contract, schema: JsonObject, prefix: str = "", depth: int = 0) -> Iterator[Member]:
    """Yield the members of an object, those of objects that have no name of their own among them."""
    schema = contract.resolve(schema)
    for part in schema.get("allOf", ()):
        yield from list_members(contract, part, prefix, depth)
    required = schema.get("required", ())
    for name, each in schema.get("properties", {}).items():
        resolved = contract.resolve(each)
        yield Member(
            prefix + name,
            describe_type(contract, each),
            name in required,
            get_unit(contract, each),
            get_default(contract, each),
            str(resolved.get("description", "")),
        )
        if ("$ref" not in each or name in EXPANDED) and depth < MAX_DEPTH:
            yield from list_members(contract, each, f"{prefix}{name}.", depth + 1)
