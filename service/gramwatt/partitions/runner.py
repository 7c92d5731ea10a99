"""A run by parts: which are missing, who computes them, and the counts at the end."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gramwatt.engine.tables.compute import Plan
from gramwatt.engine.tables.ranking import BestRows, Ranking, merge_best, select_best
from gramwatt.partitions.job import Job, PartResult, compute_best_of_part, compute_part
from gramwatt.partitions.manifest import Manifest, is_leftover, load_manifest, manifest_path
from gramwatt.partitions.sources import Grid, Part
from gramwatt.partitions.split import rows_per_part, split_grid
from gramwatt.partitions.workers import Workers


@dataclass(slots=True)
class Totals:
    """The counts of a run so far. ``found`` counts the parts that an earlier run has left."""

    parts: int
    found: int
    rows: int = 0
    invalid: int = 0
    written: int = 0
    broken: str | None = None

    def add(self, name: str, done: PartResult) -> None:
        """Count a part."""
        self.written += 1
        self.rows += done.rows
        self.invalid += done.invalid
        if done.broken is not None and self.broken is None:
            self.broken = f"{name}: {done.broken}"


@dataclass(slots=True)
class Run:
    """The parts of a job in a folder: those found there and those to compute."""

    job: Job
    manifest: Manifest
    totals: Totals

    def compute(self, workers: Workers, advance: Callable[[int], None]) -> Totals:
        """Compute the missing parts. Raises WorkersError, SourceError; what is done until then stays."""
        parts, missing = self.manifest.parts, self.missing()
        if missing:
            for done in workers.run(compute_part, ((self.job, part) for part in missing)):
                self.manifest.record(done)
                self.totals.add(self.job.name_of(parts[done.number]), done)
                advance(parts[done.number].rows)
        self.job.source.check()
        _remove_leftovers(Path(self.job.folder))
        return self.totals

    def missing(self) -> list[Part]:
        """Return the parts that are not done."""
        return [part for part in self.manifest.parts if part.number not in self.manifest.done]

    def paths(self) -> list[Path]:
        """Return the paths of all parts in order."""
        return [Path(self.job.folder) / self.job.name_of(part) for part in self.manifest.parts]

    def discard(self) -> None:
        """Remove the parts, the folder and the manifest."""
        for path in self.paths():
            path.unlink()
        Path(self.job.folder).rmdir()
        self.manifest.remove()


def begin_run(job: Job, run: Mapping[str, Any], split: Callable[[], list[Part]]) -> Run:
    """Open the folder of a job: continue the same run where one was interrupted, else split and begin.

    Raises OtherRun where the folder holds something else, OSError where it cannot be made.
    """
    folder = Path(job.folder)
    manifest = load_manifest(folder, run, job.name_of)
    if manifest is None:
        parts = split()
        with contextlib.suppress(FileExistsError):
            folder.mkdir()
        manifest = Manifest(manifest_path(folder), run, parts)
        manifest.save()
    folder.mkdir(exist_ok=True)
    _remove_leftovers(folder)
    totals = Totals(len(manifest.parts), len(manifest.done))
    for number, done in manifest.done.items():
        totals.add(job.name_of(manifest.parts[number]), done)
    return Run(job, manifest, totals)


def _remove_leftovers(folder: Path) -> None:
    for path in folder.iterdir():
        if is_leftover(path):
            with contextlib.suppress(FileNotFoundError):
                os.unlink(path)


def find_best_points(
    workers: Workers, plan: Plan, grid: Grid, wish: Ranking, rows: int | None, advance: Callable[[int], None]
) -> tuple[BestRows, int]:
    """Return the best points of a grid and how many points are invalid; only the best of a part come back."""
    tasks = ((plan, grid, wish, part) for part in split_grid(grid, rows or rows_per_part(plan)))
    best, invalid = select_best(wish, iter(())), 0
    for part, some, faulty in workers.run(compute_best_of_part, tasks):
        best, invalid = merge_best(wish, best, some), invalid + faulty
        advance(part.rows)
    return best, invalid
