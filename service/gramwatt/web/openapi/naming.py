"""Names of the components of the contract, and references to them."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final, TypeAlias

from gramwatt.model import AnyCalculator

if TYPE_CHECKING:
    from apispec import APISpec  # which the service itself does not need

JsonObject: TypeAlias = dict[str, Any]


def to_class_name(name: str) -> str:
    """Return words as the name of a schema: ``pack-energy`` as ``PackEnergy``."""
    return "".join(word[:1].upper() + word[1:] for word in re.split("[-_ ]", name))


def to_identifier(calculator: AnyCalculator) -> str:
    """Return the name of a calculator as code has it: ``pack_energy``."""
    return calculator.name.replace("-", "_")


def refer(name: str, section: str = "schemas") -> JsonObject:
    """Return a reference to a component."""
    return {"$ref": f"#/components/{section}/{name}"}


def add_component(spec: APISpec, section: str, component: JsonObject, *names: str) -> str:
    """Add a component under the first of ``names`` that is free, unless the same one has one of them; return its name.

    ``section`` is that of the contract: schemas, parameters, responses.
    """
    components: dict[str, JsonObject] = getattr(spec.components, section)
    for name in names:
        if name not in components:
            components[name] = component
            return name
        if components[name] == component:
            return name
    raise ValueError(f"{section}: another component is named {' and '.join(names)}")


def add_schema(spec: APISpec, schema: JsonObject, *names: str) -> JsonObject:
    """Add a schema as `add_component` does, and return a reference to it."""
    return refer(add_component(spec, "schemas", schema, *names))


def make_enum(options: Sequence[str]) -> JsonObject:
    """Return the schema of one of some words, with names for generated code where a word is no identifier."""
    schema: JsonObject = {"type": "string", "enum": list(options)}
    if not all(re.fullmatch("[A-Za-z][A-Za-z0-9_-]*", option) for option in options):
        schema["x-enum-varnames"] = [to_variable(option) for option in options]
    return schema


_SIGNS: Final = {
    " ": "",
    "(": "",
    ")": "",
    "-": "",
    "_": "",
    "/": "PER",
    "%": "PERCENT",
    "‰": "PER_MILLE",
    "°": "DEGREE",
    "µ": "MICRO",
    "Ω": "OHM_SIGN",
    "²": "SQUARED",
    "³": "CUBED",
}
"""Signs of units in words; others have their name in Unicode."""


def to_variable(option: str) -> str:
    """Return a word as the name of a constant in any language: ``%`` as ``PERCENT``, ``1`` as ``NUMBER_1``."""
    words = re.sub(r"[^A-Za-z0-9]", lambda sign: f" {_SIGNS.get(sign[0], unicodedata.name(sign[0]))} ", option)
    name = re.sub(r"[^A-Z0-9]+", "_", words.upper()).strip("_")
    return f"NUMBER_{name}" if name[:1].isdigit() else name


def make_object(properties: JsonObject, required: Sequence[str] = (), **more: object) -> JsonObject:
    """Return the schema of an object in a response: other members may come with later versions."""
    return {"type": "object", **more, "properties": properties, **({"required": list(required)} if required else {})}


def make_closed_object(properties: JsonObject, required: Sequence[str] = (), **more: object) -> JsonObject:
    """Return the schema of an object in a request, where other members are errors."""
    return {**make_object(properties, required, **more), "additionalProperties": False}
