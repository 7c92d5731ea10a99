"""The contract as it is served: the committed files, which `gramwatt contract --write openapi` writes.

They ship inside the package; in a checkout they stand in openapi/. Building them at start would take longer than
everything else there, so a test holds them to the document that `contract.py` builds.
"""

from __future__ import annotations

import functools
from pathlib import Path
from typing import Final

JSON_FILE: Final = "gramwatt.openapi.json"
YAML_FILE: Final = "gramwatt.openapi.yaml"
_INSTALLED: Final = Path(__file__).resolve().parents[2] / "openapi"
_CHECKOUT: Final = Path(__file__).resolve().parents[4] / "openapi"


def get_contract_folder() -> Path:
    """Return the folder of the contract's files."""
    return _INSTALLED if _INSTALLED.exists() else _CHECKOUT


@functools.cache
def read_contract(name: str) -> bytes:
    """Return one of the files, `JSON_FILE` or `YAML_FILE`. Raises OSError where it is missing."""
    return (get_contract_folder() / name).read_bytes()
