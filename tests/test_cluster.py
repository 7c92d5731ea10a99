"""The same tables and grids on Dask workers, in processes of their own, one of which is killed in the midst."""

from __future__ import annotations

import dataclasses
import io
import json
import os
import pickle
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from dask_workers import Cluster, two_workers, wait_for
from gramwatt import cluster
from gramwatt.__main__ import main
from gramwatt.edge.columns import ABSENT
from gramwatt.edge.tables.answering import Answered, Plan, answered
from gramwatt.edge.tables.chunk import Broken, Chunk
from gramwatt.edge.tables.csv_in import read_csv

PLAN = Plan("pack-current", {"cells": "6", "capacity": "1300"})


@pytest.fixture(scope="module")
def workers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Cluster]:
    with two_workers(tmp_path_factory.mktemp("cluster")) as made:
        yield made


def run(*words: object, body: bytes | None = None) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words], input=body)


def chunks(count: int, rows: int = 20_000) -> Iterator[Chunk]:
    """A table in pieces, with columns that pass through and a row with a fault in each."""
    for number in range(count):
        lines = "\n".join(
            f"{number}-{row},{'none' if row == 77 else 10 + (number * rows + row) % 900}" for row in range(rows)
        )
        raw = io.BytesIO(f"id,power\n{lines}\n".encode())
        for chunk in read_csv(PLAN.calculator, raw.read, constants=PLAN.constants):
            yield dataclasses.replace(chunk, first=chunk.first + number * rows)


def told(pieces: Iterator[Answered]) -> list[tuple[int, str, float, bool]]:
    """Row, label, current and whether it has a fault, of every row."""
    rows = []
    for piece in pieces:
        for row in range(piece.rows):
            current = float(piece.columns["current"][row])
            rows.append((piece.first + row, piece.kept["id"][row], current, row in piece.faults))
    return rows


def same(ours: list[tuple[int, str, float, bool]], theirs: list[tuple[int, str, float, bool]]) -> bool:
    return len(ours) == len(theirs) and all(
        one[:2] == other[:2] and one[3] == other[3] and (one[2] == other[2] or (one[3] and np.isnan(other[2])))
        for one, other in zip(ours, theirs, strict=True)
    )


def test_what_is_sent_to_a_worker_stays_what_it_is() -> None:
    for protocol in range(2, pickle.HIGHEST_PROTOCOL + 1):
        assert pickle.loads(pickle.dumps(ABSENT, protocol)) is ABSENT
    for chunk in chunks(1, 200):
        again = pickle.loads(pickle.dumps((PLAN, chunk)))
        assert same(told(answered(*again)), told(answered(PLAN, chunk)))


def test_every_part_is_answered_in_order_though_a_worker_is_killed(tmp_path: Path) -> None:
    expected = told(piece for chunk in chunks(24) for piece in answered(PLAN, chunk))
    with two_workers(tmp_path) as made, cluster.connected(made.address) as client:

        def killing() -> Iterator[Chunk]:
            for number, chunk in enumerate(chunks(24)):
                if number == 9:  # five parts are under way, or answered and not yet fetched
                    os.kill(made.workers[0].pid, signal.SIGKILL)
                    assert made.workers[0].wait(60) == -signal.SIGKILL
                yield chunk

        parts = cluster.Parts(client, PLAN, killing())
        found = told(piece for chunk in parts for piece in parts.answered(PLAN, chunk))
        assert len(client.nthreads()) == 1
    assert [row for row, *_ in found] == list(range(24 * 20_000))
    assert same(found, expected)


def test_a_run_goes_on_with_a_worker_that_came_after_all_were_gone(tmp_path: Path) -> None:
    with two_workers(tmp_path) as made, cluster.connected(made.address) as client:

        def killing() -> Iterator[Chunk]:
            for number, chunk in enumerate(chunks(8)):
                if number == 7:
                    for worker in made.workers:
                        worker.kill()
                        worker.wait()
                    made.join()
                yield chunk

        parts = cluster.Parts(client, PLAN, killing())
        found = told(piece for chunk in parts for piece in parts.answered(PLAN, chunk))
    assert [row for row, *_ in found] == list(range(8 * 20_000))


def test_the_command_writes_what_it_writes_alone_though_a_worker_is_killed(tmp_path: Path) -> None:
    table, here, there = tmp_path / "table.csv", tmp_path / "here.csv", tmp_path / "out" / "there.csv"
    there.parent.mkdir()
    label = "as long as labels are when people are at leisure"
    lines = [f"{row} {label},{'none' if row % 5000 == 77 else 10 + row % 900}\n" for row in range(600_000)]
    table.write_text("id,power\n" + "".join(lines), encoding="utf-8")  # sixteen pieces; six are under way
    shared = ("pack-current", "--set", "cells=6", "--set", "capacity=1300")
    assert run("batch", table, *shared[1:], "-o", here).exit_code == 2  # no calculator of that name
    alone = run("batch", shared[0], table, *shared[1:], "-o", here)
    assert alone.exit_code == 1
    with two_workers(tmp_path) as made:
        words = ["batch", shared[0], "-", *shared[1:], "-o", str(there), "--scheduler", made.address]
        command = [sys.executable, "-m", "gramwatt", *words]
        with subprocess.Popen(command, stdin=subprocess.PIPE, stderr=subprocess.PIPE) as process:
            assert process.stdin is not None
            assert process.stderr is not None
            raw = table.read_bytes()
            process.stdin.write(raw[: len(raw) // 2])
            process.stdin.flush()

            def begun() -> bool:
                return any(path.stat().st_size for path in there.parent.iterdir())

            wait_for(begun, process)
            made.workers[1].kill()
            process.stdin.write(raw[len(raw) // 2 :])
            process.stdin.close()
            said = process.stderr.read().decode()
            assert process.wait(120) == 1
    assert said == alone.stderr.replace(str(here), str(there))
    assert there.read_bytes() == here.read_bytes()


@pytest.mark.parametrize("to", ["csv", "ndjson", "json", "arrow", "parquet"])
def test_every_format_is_that_of_a_run_alone(to: str, workers: Cluster, tmp_path: Path) -> None:
    body = b'id,cells,power,capacity,note\na,6,500,1300,"x, y"\nb,6,much,1300,\n' + b"c,4,120 W,1 Ah,z\n" * 70_000
    words = ("batch", "pack-current", "-", "--to", to, "--given", "--uncertainty", "-o")
    here = run(*words, tmp_path / "here", body=body)
    there = run(*words, tmp_path / "there", "--scheduler", workers.address, body=body)
    assert (here.exit_code, there.exit_code, there.stdout) == (1, 1, "")
    assert there.stderr.replace("there", "here") == here.stderr
    assert (tmp_path / "here").read_bytes() == (tmp_path / "there").read_bytes()


def test_questions_with_lists_and_tables_travel_too(workers: Cluster, tmp_path: Path) -> None:
    rows = [
        {"id": row, "limit": 250, "parts": [{"mass": 10 + row, "count": 2}, {"mass": "1.5 g"}]} for row in range(50)
    ]
    table = tmp_path / "table.ndjson"
    table.write_text("".join(json.dumps(row) + "\n" for row in rows) + '{"id": 1}\n', encoding="utf-8")
    here = run("batch", "mass-margin", table)
    there = run("batch", "mass-margin", table, "--scheduler", workers.address)
    assert (here.exit_code, here.stderr) == (1, "50 rows answered, 1 with a fault: standard output\n")
    assert there.stdout_bytes == here.stdout_bytes


def test_a_table_that_breaks_off_keeps_the_parts_before(workers: Cluster) -> None:
    def breaking() -> Iterator[Chunk]:
        yield from chunks(5, 1000)
        raise Broken("gone")

    rows: list[tuple[int, str, float, bool]] = []
    with cluster.connected(workers.address) as client:
        parts = cluster.Parts(client, PLAN, breaking())
        with pytest.raises(Broken, match="gone"):
            rows.extend(row for chunk in parts for row in told(parts.answered(PLAN, chunk)))
    assert [row for row, *_ in rows] == list(range(5000))


def test_no_more_parts_are_read_than_are_under_way(workers: Cluster) -> None:
    read = 0

    def counting() -> Iterator[Chunk]:
        nonlocal read
        for chunk in chunks(60, 100):
            read += 1
            yield chunk

    with cluster.connected(workers.address) as client:
        parts = cluster.Parts(client, PLAN, counting())
        for done, _ in enumerate(parts, 1):
            assert read - done <= 2 * 2 + 2
    assert read == 60


def test_a_part_that_keeps_failing_ends_the_run(workers: Cluster) -> None:
    with cluster.connected(workers.address) as client:
        parts = cluster.Parts(client, Plan("no-such-calculator"), chunks(3, 100))
        with pytest.raises(cluster.ClusterError, match="part 1 of the work keeps failing on the workers: KeyError"):
            list(parts)


def test_a_part_that_kills_its_workers_ends_the_run(tmp_path: Path) -> None:
    with two_workers(tmp_path) as made:
        for _ in range(3):
            made.join()
        with cluster.connected(made.address) as client:
            client.wait_for_workers(5, timeout=60)
            with pytest.raises(cluster.ClusterError, match="part 1 of the work keeps failing on the workers: Killed"):
                list(cluster.in_order(client, os._exit, [(3,)]))


def test_a_run_without_any_worker_left_is_given_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster, "ALONE", 1)
    monkeypatch.setattr(cluster, "CONNECT", 2)
    with two_workers(tmp_path) as made, cluster.connected(made.address) as client:

        def killing() -> Iterator[Chunk]:
            for worker in made.workers:
                worker.kill()
                worker.wait()
            yield from chunks(1, 100)

        with pytest.raises(cluster.ClusterError, match="no worker is left"):
            list(cluster.Parts(client, PLAN, killing()))


def test_a_scheduler_that_goes_ends_the_run(tmp_path: Path) -> None:
    with two_workers(tmp_path) as made, cluster.connected(made.address) as client:

        def killing() -> Iterator[Chunk]:
            yield from chunks(3, 100)
            made.scheduler.kill()
            made.scheduler.wait()
            yield from chunks(3, 100)

        with pytest.raises(cluster.ClusterError, match="nothing was written"):
            list(cluster.Parts(client, PLAN, killing()))
