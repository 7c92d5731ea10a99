"""The committed contract, which the service sends in two forms and `gramwatt contract --write openapi` writes.

It is part of the installed package; in a checkout it is in openapi/. To build it at start would take longer than
everything else there, so a test compares it with what `document.py` builds.
"""

from __future__ import annotations

import functools
import json
from pathlib import Path
from typing import Final

from gramwatt.web.openapi.naming import JsonObject

JSON_FILE: Final = "gramwatt.openapi.json"
_INSTALLED: Final = Path(__file__).resolve().parents[2] / "openapi"
_CHECKOUT: Final = Path(__file__).resolve().parents[4] / "openapi"


def read_document() -> JsonObject:
    """Return the contract. Raises OSError where the file is missing."""
    folder = _INSTALLED if _INSTALLED.exists() else _CHECKOUT
    document: JsonObject = json.loads((folder / JSON_FILE).read_bytes())
    return document


@functools.cache
def read_json() -> bytes:
    """Return the contract as JSON without spaces."""
    return to_compact_json(read_document())


@functools.cache
def read_yaml() -> bytes:
    """Return the contract as YAML."""
    return to_yaml(read_document())


def to_compact_json(document: JsonObject) -> bytes:
    """Return a contract as the service sends it."""
    return json.dumps(document, separators=(",", ":"), ensure_ascii=False).encode()


def to_pretty_json(document: JsonObject) -> bytes:
    """Return a contract as it is committed."""
    return (json.dumps(document, indent=1, ensure_ascii=False) + "\n").encode()


def to_yaml(document: JsonObject) -> bytes:
    """Return a contract as YAML, in its own order, without anchors."""
    import yaml  # which only this needs

    class Dumper(getattr(yaml, "CSafeDumper", yaml.SafeDumper)):  # type: ignore[misc]
        def ignore_aliases(self, data: object) -> bool:
            return True

    return str(yaml.dump(document, Dumper=Dumper, sort_keys=False, allow_unicode=True, width=120)).encode()
