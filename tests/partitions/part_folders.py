"""The folder of parts that a run by parts leaves, as its tests read it."""

from __future__ import annotations

from pathlib import Path


def contents(folder: Path) -> dict[str, bytes]:
    """Return the bytes of each part by its file's name."""
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def recorded(folder: Path) -> int:
    """Return how many parts the manifest has as done."""
    manifest = folder.with_name(f"{folder.name}.manifest.json")
    return manifest.read_text(encoding="utf-8").count('"done"') if manifest.exists() else 0
