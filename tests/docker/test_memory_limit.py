"""The memory that docker/compose.yaml allows holds what its settings allow: the service is filled with it."""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import orjson
import pytest
import yaml

from gramwatt.engine import registry
from trials.inputs import ordinary_requests
from trials.requests import CSV, JSON, Request, get, post
from trials.service import Service, running

COMPOSE = Path(__file__).resolve().parents[2] / "docker" / "compose.yaml"
MIB = 1024 * 1024
UNITS = {"k": 1024, "m": MIB, "g": 1024 * MIB}


def compose() -> dict[str, Any]:
    """Return the one service of compose.yaml."""
    (service,) = yaml.safe_load(COMPOSE.read_text())["services"].values()
    assert isinstance(service, dict)
    return service


def size_of(text: str) -> int:
    """Return the bytes of a size as compose.yaml has it."""
    return int(text[:-1]) * UNITS[text[-1]]


def proportional_memory(service: Service) -> int:
    """Return the memory of the main process and the workers, shared pages counted once [bytes]."""
    total = 0
    for process in (service.process.pid, *service.workers()):
        with contextlib.suppress(OSError):
            for line in Path(f"/proc/{process}/smaps_rollup").read_text().splitlines():
                if line.startswith("Pss:"):
                    total += int(line.split()[1]) * 1024
    return total


def recordings(size: int) -> list[Request]:
    """Build a request of nearly so many bytes for each calculator that takes a recording by itself."""
    count = size // 22
    log = {"time": [index / 8 for index in range(count)], "voltage": [16.12] * count, "current": [8.25] * count}
    found = []
    for calculator in registry.load().values():
        if calculator.recording is not None:
            given = {**calculator.examples[0].given, calculator.recording: log}
            found.append(post(f"/v1/{calculator.name}", orjson.dumps(given), JSON))
    assert found
    assert all(0.7 * size < len(request.body or b"") < size for request in found)
    return found


class Watch:
    """Samples the memory of a service; ``peak`` is the most that it had [bytes]."""

    def __init__(self, service: Service) -> None:
        self.peak = 0
        self._service, self._ended = service, threading.Event()
        self._thread = threading.Thread(target=self._sample, daemon=True)

    def __enter__(self) -> Watch:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ended.set()
        self._thread.join()

    def _sample(self) -> None:
        while not self._ended.wait(0.02):
            self.peak = max(self.peak, proportional_memory(self._service))


def fill(service: Service, heavy: list[Request], largest_table: int) -> list[int]:
    """Send at once what takes the most memory, more of it than the workers admit; return the statuses."""
    table = b"cells,capacity\n" + b"6,1300\n" * (largest_table // 8)
    grid = (
        "/v1/endurance/sweep?cells=6&vary=mean_power&from=10&to=400&count=400&vary=capacity&from=900&to=1500&count=400"
    )
    statuses: list[int] = []

    def send(request: Request) -> None:
        with contextlib.suppress(OSError):
            statuses.append(service.send(request, timeout=120)[0])

    def send_without_reading(request: Request) -> None:
        head = f"{request.method} {request.target} HTTP/1.1\r\nHost: localhost\r\nContent-Type: {CSV}\r\n"
        body = request.body or b""
        with contextlib.closing(service.connect(4096)) as client, contextlib.suppress(OSError):
            client.sendall(f"{head}Content-Length: {len(body)}\r\n\r\n".encode() + body)
            time.sleep(6)

    calls: list[tuple[Callable[[Request], None], Request]] = [(send, request) for request in heavy * 4]
    calls += [(send, get(grid)), (send, post("/v1/pack-energy/batch", table, CSV))] * 2
    calls += [(send_without_reading, post("/v1/pack-energy/batch", table, CSV)), (send_without_reading, get(grid))] * 8
    threads = [threading.Thread(target=call, args=(request,), daemon=True) for call, request in calls]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return statuses


@pytest.mark.heavy
@pytest.mark.skipif(not Path("/proc/self/smaps_rollup").exists(), reason="memory is measured on Linux")
def test_the_memory_limit_holds_what_the_settings_allow() -> None:
    """Workers with full caches and as many of the heaviest requests as they admit stay below compose's mem_limit."""
    shipped = compose()
    settings = {name: str(value) for name, value in shipped["environment"].items()}
    in_memory = sum(size_of(option.partition("size=")[2].split(",")[0]) for option in shipped["tmpfs"])
    in_memory += size_of(shipped["shm_size"])
    heavy = recordings(int(settings["GRAMWATT_LARGEST_RECORDING"]))
    with running(environment=settings) as service, Watch(service) as watch:
        workers = set(service.workers())
        for request in ordinary_requests() * 4:
            service.send(request)
        for capacity in range(1000, 1400):  # some 150 kB each: they fill the caches
            service.send(
                get(f"/v1/endurance/sweep?cells=6&capacity={capacity}&vary=mean_power&from=10&to=400&count=400")
            )
        statuses = fill(service, heavy, int(settings["GRAMWATT_LARGEST_TABLE"]))
        assert set(service.workers()) == workers
    peak = watch.peak
    print(f"peak {peak / MIB:.0f} MiB beside {in_memory / MIB:.0f} MiB of files in memory; statuses {sorted(statuses)}")
    assert statuses.count(200) >= 4, "the heaviest requests get a response"
    assert set(statuses) <= {200, 503}
    assert peak + in_memory < size_of(shipped["mem_limit"])
