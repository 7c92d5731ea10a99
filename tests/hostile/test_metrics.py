"""The files of metrics: where they are, and what becomes of those of ended workers."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import urllib.request
from pathlib import Path

import pytest
from prometheus_client import CollectorRegistry
from prometheus_client.multiprocess import MultiProcessCollector

from gramwatt.web.middleware.metrics_files import merge_ended_worker
from web.conftest import running
from web.wire import PACK, answers, until, workers

COUNT = """
import sys
from gramwatt.web.middleware.metrics import FAILURES, REQUESTS, SECONDS
for number in range(int(sys.argv[1])):
    REQUESTS.labels("GET", f"/{number % 3}", 200).inc()
    SECONDS.labels("/x").observe(number / 1000)
FAILURES.inc()
"""


def count_in_process(folder: Path, times: int) -> int:
    """Count in another process, which ends; its number."""
    environment = {**os.environ, "PROMETHEUS_MULTIPROC_DIR": str(folder)}
    with subprocess.Popen([sys.executable, "-c", COUNT, str(times)], env=environment) as process:
        assert process.wait(60) == 0
    return process.pid


def samples(folder: Path) -> dict[tuple[str, tuple[tuple[str, str], ...]], float]:
    registry = CollectorRegistry()
    MultiProcessCollector(registry, str(folder))  # type: ignore[no-untyped-call]
    found = [each for metric in registry.collect() for each in metric.samples]
    return {(each.name, tuple(sorted(each.labels.items()))): each.value for each in found}


def files(folder: Path) -> list[str]:
    return sorted(each.name for each in folder.iterdir())


def test_merged_counts_are_those_of_all_processes(tmp_path: Path) -> None:
    pids = [count_in_process(tmp_path, times) for times in (10, 20, 5)]
    expected = samples(tmp_path)
    assert len(files(tmp_path)) == 6
    assert expected["gramwatt_failures_total", ()] == 3
    assert expected["gramwatt_request_seconds_count", (("route", "/x"),)] == 35
    for pid in pids:
        merge_ended_worker(tmp_path, pid)
        assert samples(tmp_path) == pytest.approx(expected, rel=1e-12)
    assert files(tmp_path) == ["counter_ended.db", "histogram_ended.db", "lock"]
    merge_ended_worker(tmp_path, pids[0])
    assert samples(tmp_path) == pytest.approx(expected, rel=1e-12)


BROKEN = [b"", b"\xff\0\0\0", b"\xff\0\0\0" + b"\0" * 4 + b"\xff" * 500, b"\x30" + b"\0" * 99]


@pytest.mark.parametrize("broken", BROKEN)
def test_a_file_broken_by_the_end_of_its_process_harms_no_other(tmp_path: Path, broken: bytes) -> None:
    merge_ended_worker(tmp_path, count_in_process(tmp_path, 10))
    expected, pid = samples(tmp_path), count_in_process(tmp_path, 7)
    for kind in ("counter", "histogram"):
        (tmp_path / f"{kind}_{pid}.db").write_bytes(broken)
    merge_ended_worker(tmp_path, pid)
    assert samples(tmp_path) == pytest.approx(expected, rel=1e-12)


def fetch_count(base: str) -> int:
    with urllib.request.urlopen(f"{base}/metrics", timeout=60) as answer:
        lines = answer.read().decode().splitlines()
    return sum(int(float(line.split()[-1])) for line in lines if line.startswith("gramwatt_requests_total{"))


def test_workers_that_end_leave_their_counts_and_no_files(tmp_path: Path) -> None:
    folder = tmp_path / "metrics"
    with running(PROMETHEUS_MULTIPROC_DIR=str(folder), WEB_CONCURRENCY="1") as (port, process):
        base = f"http://127.0.0.1:{port}"
        for _ in range(4):
            (worker,) = workers(process)
            assert answers(base)
            os.kill(worker, signal.SIGKILL)
            until(lambda old=worker: workers(process) - {old} and answers(base))
        assert fetch_count(base) >= 8
        assert len([name for name in files(folder) if name.endswith(".db")]) <= 6  # merged, of the worker, the master


@pytest.mark.skipif(not os.access("/dev/shm", os.W_OK), reason="no RAM disk")
def test_metrics_share_no_folder_with_uploads(tmp_path: Path) -> None:
    """A full temporary folder would end by SIGBUS a worker that counts."""
    with running(TMPDIR=str(tmp_path)) as (port, process):
        assert answers(f"http://127.0.0.1:{port}{PACK.partition('/v1')[0]}")
        (worker, *_) = workers(process)
        maps = Path(f"/proc/{worker}/maps").read_text()
        mapped = [line.split()[-1] for line in maps.splitlines() if "gramwatt-metrics-" in line]
        assert mapped
        assert not [path for path in mapped if path.startswith((str(tmp_path), tempfile.gettempdir()))]
