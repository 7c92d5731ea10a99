"""The record of a run: its table, its options, its parts, and which of them are done. A JSON file beside the folder.

It is beside the folder because some readers of a folder of parts refuse files of any other kind in it.
"""

from __future__ import annotations

import contextlib
import dataclasses
import json
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from gramwatt.partitions.job import PartResult
from gramwatt.partitions.sources import Part


class ManifestMismatch(Exception):
    """The folder holds the parts of another run, or other files; the text is one line for the user."""


@dataclass(slots=True)
class Manifest:
    """``run`` describes the run: version, table and options, in plain JSON values."""

    path: Path
    run: Mapping[str, Any]
    parts: Sequence[Part]
    done: dict[int, PartResult] = field(default_factory=dict)

    def record(self, done: PartResult) -> None:
        """Record a part that was written, and save. A part that broke off is written but not done."""
        if done.broken is None:
            self.done[done.number] = done
            self.save()

    def save(self) -> None:
        """Write the file; it is replaced in one step."""
        parts = []
        for part in self.parts:
            entry: dict[str, Any] = dataclasses.asdict(part)
            if part.number in self.done:
                entry["done"] = dataclasses.asdict(self.done[part.number])
            parts.append(entry)
        beside = self.path.with_name(f".{self.path.name}.{os.getpid()}")
        lines = ",\n".join(json.dumps(part) for part in parts)
        beside.write_text(f'{{"run": {json.dumps(self.run)},\n"parts": [\n{lines}\n]}}\n', encoding="utf-8")
        os.replace(beside, self.path)

    def remove(self) -> None:
        """Remove the file."""
        with contextlib.suppress(FileNotFoundError):
            self.path.unlink()


def manifest_path(folder: Path) -> Path:
    """Return where the manifest of a folder is."""
    return folder.with_name(f"{folder.name}.manifest.json")


def load_manifest(folder: Path, run: Mapping[str, Any], name_of: Callable[[Part], str]) -> Manifest | None:
    """Return the manifest of the same run, or None where the folder is new or empty.

    Only parts whose file is there in its recorded size count as done. Raises OtherRun.
    """
    path = manifest_path(folder)
    try:
        found = json.loads(path.read_bytes())
        before, parts = found["run"], [dict(part) for part in found["parts"]]
    except FileNotFoundError:
        if folder.is_dir() and any(not is_leftover(each) for each in folder.iterdir()):
            raise ManifestMismatch(f"{folder}: holds files, but no run has left {path.name} beside it") from None
        return None
    except (ValueError, KeyError, TypeError):
        raise ManifestMismatch(f"{path}: not the manifest of a run") from None
    differences = _differences(before, json.loads(json.dumps(run)))
    if differences:
        raise ManifestMismatch(f"{folder}: holds parts of another run: {'; '.join(differences)}")
    manifest = Manifest(path, run, [])
    read = []
    for entry in parts:
        done = entry.pop("done", None)
        part = Part(**entry)
        read.append(part)
        if done is not None and _size(folder / name_of(part)) == done["size"]:
            manifest.done[part.number] = PartResult(**done)
    manifest.parts = read
    return manifest


def _size(path: Path) -> int | None:
    with contextlib.suppress(OSError):
        return path.stat().st_size
    return None


def _differences(before: Mapping[str, Any], now: Mapping[str, Any]) -> list[str]:
    """Return ``name was X, is Y`` for each value that differs."""
    return [
        f"{name} was {_shown(before.get(name))} and is {_shown(now.get(name))}"
        for name in {**before, **now}
        if before.get(name) != now.get(name)
    ]


def _shown(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{name}={each}" for name, each in value.items()) or "empty"
    if isinstance(value, list):
        return " ".join(map(str, value)) or "empty"
    return "off" if value in (None, False, "") else "on" if value is True else str(value)


def is_leftover(path: Path) -> bool:
    """Whether a file of a folder is a part that was never finished."""
    return path.name.startswith(".part-") and path.suffix == ".part"
