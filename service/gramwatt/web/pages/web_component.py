"""The script of the web component, one file for each published version."""

from __future__ import annotations

import base64
import functools
import hashlib
from pathlib import Path
from typing import Final

FOLDER: Final = Path(__file__).resolve().parent.parent / "element"
LATEST: Final = "1.1"


@functools.cache
def versions() -> tuple[str, ...]:
    """Return the published versions, oldest first."""
    stems = [path.stem for path in FOLDER.glob("*.js")]
    return tuple(sorted(stems, key=lambda stem: tuple(map(int, stem.split(".")))))


@functools.cache
def script(version: str) -> bytes:
    """Return the script of a version."""
    return (FOLDER / f"{version}.js").read_bytes()


@functools.cache
def integrity(version: str) -> str:
    """Return the digest that makes sure a page runs exactly this script (Subresource Integrity)."""
    return "sha384-" + base64.b64encode(hashlib.sha384(script(version)).digest()).decode()
