"""The committed files of the contract, which the service sends and `gramwatt contract --write openapi` writes.

They are part of the installed package; in a checkout they are in openapi/. To build them at start would take longer
than everything else there, so a test compares them with what `document.py` builds.
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
