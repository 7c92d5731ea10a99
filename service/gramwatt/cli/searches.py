"""The search of one calculation in blocks, on processes or on a Dask cluster: options of ``gramwatt calc``."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from typing import Any

import click

from gramwatt.blocks import use_runner
from gramwatt.cli.errors import fail
from gramwatt.cli.progress import clean_up_on_signal
from gramwatt.model import AnyCalculator


def search_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options that choose the workers of a search."""
    jobs = click.option("--jobs", type=click.IntRange(1, 256), help="Compute a search on this many processes.")
    scheduler = click.option(
        "--scheduler",
        metavar="ADDRESS",
        help="Compute a search on the workers of this Dask scheduler (tcp://host:8786). They must have the same "
        "version of gramwatt. Needs gramwatt[cluster].",
    )
    return jobs(scheduler(command))


@contextlib.contextmanager
def spread_search(calculator: AnyCalculator, jobs: int | None, scheduler: str | None) -> Iterator[None]:
    """Within it, the workers that the options name compute the blocks of a calculator's search.

    Exit if the calculator does not search, or if the workers cannot be used or fail. Raises MissingExtra.
    """
    if jobs is None and scheduler is None:
        yield
        return
    if not calculator.decided_fields:
        option = "--jobs" if scheduler is None else "--scheduler"
        fail(f"{option}: {calculator.name} does not search; leave it out")
    from gramwatt.cli.partitioned import open_workers, reject_both
    from gramwatt.partitions.workers import WorkersError, stop_processes

    reject_both(jobs, scheduler)
    with clean_up_on_signal(lambda: "interrupted\n") as clean_up:
        clean_up.append(stop_processes)
        try:
            with open_workers(jobs, scheduler) as workers, use_runner(workers.map):
                yield
        except WorkersError as error:
            fail(str(error))
