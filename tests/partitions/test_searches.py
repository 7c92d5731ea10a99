"""The blocks of one search on processes and on Dask workers, which are killed or stopped; gramwatt calc asks for it."""

from __future__ import annotations

import functools
import importlib
import operator
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest
from click.testing import CliRunner, Result

import searching
from gramwatt.__main__ import main
from gramwatt.partitions import cluster
from gramwatt.partitions.workers import BLOCKS_PER_WORKER, Pool, ThisProcess, Workers, WorkersError
from partitions.counted import Counted
from partitions.dask_workers import Cluster, wait_for
from partitions.pools import pool_of, wait_until_gone
from web.invented import add_calculators

CALC: Final = ("calc", "invented-gears", "speed=900 ± 9", "target_speed=601.3 ± 5", "tolerance=0.05", "most_teeth=40")


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in arguments])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the file of the invented calculator."""
    made = tmp_path_factory.mktemp("calculators")
    (made / "invented_gears.py").write_text("from searching import CALCULATOR\n", encoding="utf-8")
    return made


@pytest.fixture
def _registered(folder: Path) -> Iterator[None]:
    """Offer the calculator, whose functions Dask's workers get by value, as they have no such file."""
    cloudpickle: Any = importlib.import_module("cloudpickle")  # it has no types
    cloudpickle.register_pickle_by_value(searching)
    try:
        with add_calculators(folder):
            yield
    finally:
        cloudpickle.unregister_pickle_by_value(searching)


@pytest.fixture(params=["processes", "cluster"])
def connected(request: pytest.FixtureRequest) -> Iterator[Workers]:
    """Return two processes, or two workers of a cluster."""
    if request.param == "processes":
        yield Pool(2)
    else:
        with cluster.connect(request.getfixturevalue("workers").address) as made:
            yield made


# Workers


def test_results_come_in_order_with_few_blocks_ahead(connected: Workers) -> None:
    """The first of them takes longest. The function may hold a table, of which a block takes one entry."""
    taken = 0

    def list_blocks() -> Iterator[float]:
        nonlocal taken
        for block in (0.2, *[0.0] * 60):
            taken += 1
            yield block

    for done, result in enumerate(connected.map(time.sleep, list_blocks()), 1):
        assert result is None
        assert taken - done <= 2 * BLOCKS_PER_WORKER + 2
    assert taken == 61
    cubes = functools.partial(operator.getitem, [at**3 for at in range(50)])
    assert list(connected.map(cubes, iter(range(50)))) == list(ThisProcess().map(cubes, range(50)))


def test_a_search_that_ends_early_takes_no_more_blocks(connected: Workers) -> None:
    blocks = iter(range(10**9))
    found = connected.map(abs, blocks)
    assert [next(found) for _ in range(3)] == [0, 1, 2]
    found.close()  # type: ignore[attr-defined]
    assert next(blocks) < 30
    assert list(connected.map(abs, [-7])) == [7]
    assert list(connected.map(abs, [])) == []


def test_what_a_function_holds_is_sent_once(workers: Cluster) -> None:
    """A megabyte: through the client once, however many blocks; the workers pass it on among themselves."""
    take = functools.partial(np.take, np.random.default_rng(1).random(125_000))
    counted = Counted(workers.address)
    with cluster.connect(counted.address) as connected:
        assert len(list(connected.map(take, range(60)))) == 60
    counted.close()
    assert 1_000_000 < counted.bytes < 1_500_000


def test_blocks_of_a_worker_that_was_killed_are_computed_again(workers: Cluster) -> None:
    """Also when the worker that had the function is gone: first one of two, then the other, beside a third."""
    add = functools.partial(operator.add, 1000)
    with cluster.connect(workers.address) as connected:
        found = connected.map(add, range(60))
        results = [next(found) for _ in range(5)]
        first, second = workers.workers
        workers.join()
        for worker in (first, second):
            worker.kill()
            worker.wait()
            results += [next(found) for _ in range(5)]
        results += found
    assert results == list(range(1000, 1060))


def test_a_process_that_is_killed_ends_the_search() -> None:
    with pytest.raises(WorkersError, match="a worker process ended: killed, or out of memory"):
        list(Pool(2).map(os._exit, [3]))


def test_a_block_that_keeps_failing_ends_the_search(workers: Cluster) -> None:
    fails = pytest.raises(cluster.ClusterError, match="a block keeps failing on the workers: ValueError: invalid")
    with cluster.connect(workers.address) as connected, fails:
        list(connected.map(int, ["1", "x"]))


@pytest.mark.filterwarnings("error")
def test_a_large_function_is_sent_without_a_warning(workers: Cluster) -> None:
    take = functools.partial(np.take, np.ones(1_500_000))
    with cluster.connect(workers.address) as connected:
        assert list(connected.map(take, [0])) == [1]


# The command


@pytest.mark.usefixtures("_registered")
def test_the_same_bytes_come_from_processes_and_from_a_cluster(
    workers: Cluster, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With uncertain inputs, in forms that show all. Each of the 33 driving gears from 8 to 40 teeth is a block."""
    sent: list[tuple[type[Any], int]] = []
    for kind in (Pool, cluster.Cluster):

        def watch(self: Any, function: Any, blocks: Any, own: Any = kind.map) -> Iterator[Any]:
            found = list(own(self, function, blocks))
            sent.append((type(self), len(found)))
            return iter(found)

        monkeypatch.setattr(kind, "map", watch)
    alone = run(*CALC, "--json", "--working")
    assert alone.exit_code == 0
    assert '"driving_teeth":' in alone.stdout
    assert run(*CALC, "--json", "--working", "--jobs", 2).stdout_bytes == alone.stdout_bytes
    for form in (("--json", "--working"), ()):
        spread = run(*CALC, *form, "--scheduler", workers.address)
        assert (spread.exit_code, spread.stderr) == (0, "")
        assert spread.stdout_bytes == run(*CALC, *form, "--jobs", 1).stdout_bytes == run(*CALC, *form).stdout_bytes
    assert sent == [(Pool, 33), (cluster.Cluster, 33), (cluster.Cluster, 33)]


@pytest.mark.usefixtures("_registered")
@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (
            ("--scheduler", "tcp://127.0.0.1:9"),
            "--scheduler tcp://127.0.0.1:9: no Dask scheduler responds there: ",
        ),
        (("--scheduler", "nowhere at all"), "--scheduler nowhere at all: no Dask scheduler responds there: "),
        (("--scheduler", "tcp://127.0.0.1:9", "--jobs", "2"), "--jobs and --scheduler: use only one of them\n"),
    ],
)
def test_wrong_workers_are_one_clear_line(arguments: tuple[str, ...], expected: str) -> None:
    result = run(*CALC, *arguments)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith(expected)
    assert result.stderr.count("\n") == 1


@pytest.mark.usefixtures("_registered")
def test_only_calculators_that_search_offer_it() -> None:
    for option in (("--jobs", "2"), ("--scheduler", "tcp://127.0.0.1:9")):
        result = run("calc", "pack-energy", "cells=6", "capacity=1300", *option)
        assert (result.exit_code, result.stdout) == (2, "")
        assert result.stderr == f"{option[0]}: pack-energy does not search; leave it out\n"
    note = "It searches: --jobs N computes the search on N processes, --scheduler ADDRESS on a Dask cluster."
    assert note in " ".join(run("calc", "invented-gears", "--help").stdout.split())
    assert "--jobs" not in run("calc", "pack-energy", "--help").stdout


SEARCH: Final = """
import sys, time
from gramwatt.blocks import map_blocks
from gramwatt.cli.searches import spread_search
from searching import CALCULATOR

jobs, scheduler = (int(sys.argv[1]), None) if sys.argv[1].isdigit() else (None, sys.argv[1])
with spread_search(CALCULATOR, jobs, scheduler):
    for done, _ in enumerate(map_blocks(time.sleep, [0.05] * 10**6)):
        if done == 3:
            print("begun", flush=True)
"""


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize("kind", ["processes", "cluster"])
def test_a_stopped_search_leaves_nothing(kind: str, number: signal.Signals, request: pytest.FixtureRequest) -> None:
    """Ctrl+C reaches the processes of the pool, too; the scheduler forgets the blocks of a client that is gone."""
    made = request.getfixturevalue("workers") if kind == "cluster" else None
    command = [sys.executable, "-c", SEARCH, "2" if made is None else made.address]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    with subprocess.Popen(
        command,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stdout.readline() == b"begun\n"
        children = pool_of(process)
        assert len(children) == (2 if made is None else 0)
        os.killpg(process.pid, number)
        assert process.stderr.read() == b"interrupted\n"
        assert process.wait(60) == 128 + number
    wait_until_gone(children)
    if made is not None:
        with cluster.connect(made.address) as connected:
            count: Any = lambda dask_scheduler: len(dask_scheduler.tasks)  # noqa: E731 - it travels by value
            wait_for(lambda: connected._client.run_on_scheduler(count) == 0, made.scheduler)
