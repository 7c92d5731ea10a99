"""The script of the web component, a file for each version that was published."""

from __future__ import annotations

import base64
import functools
import hashlib
from pathlib import Path
from typing import Final

ELEMENT: Final = Path(__file__).resolve().parent.parent / "element"
NEWEST: Final = "1.0"


@functools.cache
def versions() -> tuple[str, ...]:
    """The versions of the element, oldest first."""
    found = [path.stem for path in ELEMENT.glob("*.js")]
    return tuple(sorted(found, key=lambda each: tuple(map(int, each.split(".")))))


@functools.cache
def script(version: str) -> bytes:
    """Return the script of a version."""
    return (ELEMENT / f"{version}.js").read_bytes()


@functools.cache
def integrity(version: str) -> str:
    """The digest by which a page makes sure that it runs this very script (Subresource Integrity)."""
    return "sha384-" + base64.b64encode(hashlib.sha384(script(version)).digest()).decode()
