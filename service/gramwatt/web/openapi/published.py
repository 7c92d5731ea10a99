"""The names that the published contract gives to the schemas of inputs: a later contract keeps them.

Of several schemas that could have one name the first gets it. So calculators come in the order in which they were
published, release by release, and what they declare keeps its name whatever a new calculator declares.
``make publish-contract`` adds today's new calculators as one more release.
"""

from __future__ import annotations

import functools
import json
from pathlib import Path
from typing import Final

from gramwatt.engine import registry
from gramwatt.engine.schemas import get_schema_name
from gramwatt.model import AnyCalculator
from gramwatt.web.openapi import files
from gramwatt.web.openapi.naming import JsonObject

PUBLISHED: Final = Path(__file__).resolve().parents[4] / "openapi" / "published.json"
"""In a checkout, where the contract is built."""
PREFIX: Final = "/v1/"
RELEASES: Final = "x-releases"


@functools.cache
def read_published() -> JsonObject:
    """Return the published contract; an empty one where there is none."""
    if not PUBLISHED.exists():
        return {"paths": {}, "components": {"schemas": {}}}
    document: JsonObject = json.loads(PUBLISHED.read_bytes())
    return document


def list_releases() -> list[list[AnyCalculator]]:
    """Return all calculators by the release that published them; those that are not published come last."""
    calculators, published = registry.load(), read_published()
    paths = [path.removeprefix(PREFIX) for path in published["paths"] if path.startswith(PREFIX)]
    releases: list[list[str]] = published.get(RELEASES, [paths])
    known = {name for release in releases for name in release}
    releases = [*releases, [name for name in calculators if name not in known]]
    return [[calculators[name] for name in release if name in calculators] for release in releases]


def list_calculators() -> list[AnyCalculator]:
    """Return all calculators, the published ones first, in the order in which they were published."""
    return [calculator for release in list_releases() for calculator in release]


def publish() -> None:
    """Write today's contract as the published one, with its new calculators as one more release."""
    releases = [[calculator.name for calculator in release] for release in list_releases()]
    document = {**json.loads(files.read_json()), RELEASES: [release for release in releases if release]}
    PUBLISHED.write_bytes(files.to_compact_json(document) + b"\n")


def get_published_name(calculator: AnyCalculator, name: str) -> str:
    """Return the published name of the schema of an input; "" where it has none."""
    inputs = read_published()["components"]["schemas"].get(get_schema_name(calculator), {})
    reference: str = inputs.get("properties", {}).get(name, {}).get("$ref", "")
    return reference.rpartition("/")[2]


if __name__ == "__main__":
    publish()
