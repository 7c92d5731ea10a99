"""The names that the published contract gives to the schemas of inputs: a later contract keeps them.

Of several schemas that could have one name the first gets it. So the published calculators come first, in the order in
which they were published, and what they declare keeps its name whatever a new calculator declares.
"""

from __future__ import annotations

import functools
import json
from pathlib import Path
from typing import Final

from gramwatt.engine import registry
from gramwatt.engine.schemas import get_schema_name
from gramwatt.model import AnyCalculator
from gramwatt.web.openapi.naming import JsonObject

PUBLISHED: Final = Path(__file__).resolve().parents[4] / "openapi" / "published.json"
"""In a checkout, where the contract is built."""
PREFIX: Final = "/v1/"


@functools.cache
def read_published() -> JsonObject:
    """Return the published contract; an empty one where there is none."""
    if not PUBLISHED.exists():
        return {"paths": {}, "components": {"schemas": {}}}
    document: JsonObject = json.loads(PUBLISHED.read_bytes())
    return document


def is_published(calculator: AnyCalculator) -> bool:
    """Return whether a calculator is in the published contract."""
    return f"{PREFIX}{calculator.name}" in read_published()["paths"]


def list_calculators() -> list[AnyCalculator]:
    """Return all calculators, the published ones first, in the order in which they were published."""
    calculators = registry.load()
    paths = [path.removeprefix(PREFIX) for path in read_published()["paths"] if path.startswith(PREFIX)]
    return [calculators[name] for name in dict.fromkeys([*paths, *calculators]) if name in calculators]


def get_published_name(calculator: AnyCalculator, name: str) -> str:
    """Return the published name of the schema of an input; "" where it has none."""
    inputs = read_published()["components"]["schemas"].get(get_schema_name(calculator), {})
    reference: str = inputs.get("properties", {}).get(name, {}).get("$ref", "")
    return reference.rpartition("/")[2]
