"""Run a job in parts: find the missing parts, have workers compute them, and add up the counts."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gramwatt.engine.tables.plan import Plan
from gramwatt.engine.tables.ranking import BestRows, Ranking, merge_best, select_best
from gramwatt.partitions.job import Job, PartResult, compute_best_of_part, compute_part
from gramwatt.partitions.manifest import Manifest, is_leftover, load_manifest, manifest_path
from gramwatt.partitions.sources import Grid, Part
from gramwatt.partitions.split import rows_per_part, split_grid
from gramwatt.partitions.workers import Workers


@dataclass(slots=True)
class Totals:
    """The counts of a run so far. ``resumed`` counts the parts of an earlier run."""

    parts: int
    resumed: int
    rows: int = 0
    invalid: int = 0
    written: int = 0
    failure: str | None = None

    def add(self, name: str, result: PartResult) -> None:
        """Add the counts of a part."""
        self.written += 1
        self.rows += result.rows
        self.invalid += result.invalid
        if result.failure is not None and self.failure is None:
            self.failure = f"{name}: {result.failure}"


@dataclass(slots=True)
class Run:
    """The parts of a job in a folder, done and missing."""

    job: Job
    manifest: Manifest
    totals: Totals

    def compute(self, workers: Workers, advance: Callable[[int], None]) -> Totals:
        """Compute the missing parts. Raises WorkersError, SourceError; the parts that are done remain."""
        parts, missing = self.manifest.parts, self.missing_parts()
        if missing:
            for result in workers.run(compute_part, ((self.job, part) for part in missing)):
                self.manifest.record(result)
                self.totals.add(self.job.file_name(parts[result.number]), result)
                advance(parts[result.number].rows)
        self.job.source.check()
        _remove_leftovers(Path(self.job.folder))
        return self.totals

    def missing_parts(self) -> list[Part]:
        """Return the parts that are not done."""
        return [part for part in self.manifest.parts if part.number not in self.manifest.done]

    def part_paths(self) -> list[Path]:
        """Return the paths of all parts in order."""
        return [Path(self.job.folder) / self.job.file_name(part) for part in self.manifest.parts]

    def discard(self) -> None:
        """Remove the parts, the folder and the manifest."""
        for path in self.part_paths():
            path.unlink()
        Path(self.job.folder).rmdir()
        self.manifest.remove()


def begin_run(job: Job, settings: Mapping[str, Any], split: Callable[[], list[Part]]) -> Run:
    """Open the folder of a job. Continue an interrupted run of the same settings, or split the table and begin.

    Raises
    ------
    ManifestMismatch
        The folder contains something else.
    OSError
        The folder cannot be made.
    """
    folder = Path(job.folder)
    manifest = load_manifest(folder, settings, job.file_name)
    if manifest is None:
        parts = split()
        with contextlib.suppress(FileExistsError):
            folder.mkdir()
        manifest = Manifest(manifest_path(folder), settings, parts)
        manifest.save()
    folder.mkdir(exist_ok=True)
    _remove_leftovers(folder)
    totals = Totals(len(manifest.parts), len(manifest.done))
    for number, result in manifest.done.items():
        totals.add(job.file_name(manifest.parts[number]), result)
    return Run(job, manifest, totals)


def _remove_leftovers(folder: Path) -> None:
    for path in folder.iterdir():
        if is_leftover(path):
            with contextlib.suppress(FileNotFoundError):
                os.unlink(path)


def find_best_points(
    workers: Workers, plan: Plan, grid: Grid, ranking: Ranking, rows: int | None, advance: Callable[[int], None]
) -> tuple[BestRows, int]:
    """Return the best points of a grid and the number of invalid points. Workers return only the best of a part."""
    tasks = ((plan, grid, ranking, part) for part in split_grid(grid, rows or rows_per_part(plan)))
    best, invalid = select_best(ranking, iter(())), 0
    for part, part_best, part_invalid in workers.run(compute_best_of_part, tasks):
        best, invalid = merge_best(ranking, best, part_best), invalid + part_invalid
        advance(part.rows)
    return best, invalid
