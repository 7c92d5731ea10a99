"""The manifest of a run: its settings, its parts, and which of them are done. A JSON file beside the folder.

It is beside the folder because some readers of a folder of parts refuse other files in it.
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
    """The folder contains the parts of another run, or other files. The text is one line for the user."""


@dataclass(slots=True)
class Manifest:
    """``run`` has the version, the table and the options of the run as plain JSON values."""

    path: Path
    run: Mapping[str, Any]
    parts: Sequence[Part]
    done: dict[int, PartResult] = field(default_factory=dict)

    def record(self, result: PartResult) -> None:
        """Record a part that was written, and save. A part that ended early is written but not done."""
        if result.failure is None:
            self.done[result.number] = result
            self.save()

    def save(self) -> None:
        """Write the file. It is replaced in one step."""
        parts = []
        for part in self.parts:
            entry: dict[str, Any] = dataclasses.asdict(part)
            if part.number in self.done:
                entry["done"] = dataclasses.asdict(self.done[part.number])
            parts.append(entry)
        temporary = self.path.with_name(f".{self.path.name}.{os.getpid()}")
        lines = ",\n".join(json.dumps(part) for part in parts)
        temporary.write_text(f'{{"run": {json.dumps(self.run)},\n"parts": [\n{lines}\n]}}\n', encoding="utf-8")
        os.replace(temporary, self.path)

    def remove(self) -> None:
        """Remove the file."""
        with contextlib.suppress(FileNotFoundError):
            self.path.unlink()


def manifest_path(folder: Path) -> Path:
    """Return the path of the manifest of a folder."""
    return folder.with_name(f"{folder.name}.manifest.json")


def load_manifest(folder: Path, run: Mapping[str, Any], file_name: Callable[[Part], str]) -> Manifest | None:
    """Return the manifest of an interrupted run, or None if the folder is new or empty.

    Only parts whose file has its recorded size count as done. Raises ManifestMismatch.
    """
    path = manifest_path(folder)
    try:
        content = json.loads(path.read_bytes())
        previous_run, entries = content["run"], [dict(entry) for entry in content["parts"]]
    except FileNotFoundError:
        if folder.is_dir() and any(not is_leftover(each) for each in folder.iterdir()):
            raise ManifestMismatch(f"{folder}: contains files, but there is no {path.name} beside it") from None
        return None
    except (ValueError, KeyError, TypeError):
        raise ManifestMismatch(f"{path}: this is not the manifest of a run") from None
    differences = _list_differences(previous_run, json.loads(json.dumps(run)))
    if differences:
        raise ManifestMismatch(f"{folder}: contains parts of another run: {'; '.join(differences)}")
    parts, done = [], {}
    for entry in entries:
        result = entry.pop("done", None)
        part = Part(**entry)
        parts.append(part)
        if result is not None and _get_size(folder / file_name(part)) == result["size"]:
            done[part.number] = PartResult(**result)
    return Manifest(path, run, parts, done)


def _get_size(path: Path) -> int | None:
    with contextlib.suppress(OSError):
        return path.stat().st_size
    return None


def _list_differences(previous: Mapping[str, Any], current: Mapping[str, Any]) -> list[str]:
    """Return ``name was X and is Y`` for each value that differs."""
    return [
        f"{name} was {_format_value(previous.get(name))} and is {_format_value(current.get(name))}"
        for name in {**previous, **current}
        if previous.get(name) != current.get(name)
    ]


def _format_value(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{name}={item}" for name, item in value.items()) or "empty"
    if isinstance(value, list):
        return " ".join(map(str, value)) or "empty"
    return "off" if value in (None, False, "") else "on" if value is True else str(value)


def is_leftover(path: Path) -> bool:
    """Return whether a file of a folder is a part that was never finished."""
    return path.name.startswith(".part-") and path.suffix == ".part"
