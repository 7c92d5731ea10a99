"""The servers that are compared: ours and the peers."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Final

from benchmarks.processes import Server
from benchmarks.questions import PATH

WORKERS: Final = 2
THREADS: Final = 8
QUESTION: Final = f"{PATH}?cells=6&capacity=1300&power=500&state_of_charge=70&cell_resistance=8&discharge_rating=100"
SHAPES: Final = ("gramwatt",)


def ours(name: str = SHAPES[0]) -> Server:
    """The service as it is shipped, two workers."""
    command = [sys.executable, "-m", "gramwatt", "serve", "--host", "127.0.0.1", "--port", "{port}"]
    environment = {"WEB_CONCURRENCY": str(WORKERS)}
    for name in ("PROMETHEUS_MULTIPROC_DIR", "GRAMWATT_ACCESS_LOG", "GRAMWATT_RATE_LIMIT"):
        os.environ.pop(name, None)
    return Server(name, command, environment, QUESTION)


def constant(name: str, program: str, answer: Path) -> Server:
    """One of `peers.constant` on gunicorn, with the workers and threads that ours has."""
    command = [sys.executable, "-m", "gunicorn", "--bind", "127.0.0.1:{port}", "--worker-class", "gthread"]
    command += ["--workers", str(WORKERS), "--threads", str(THREADS), "--keep-alive", "75", "--preload"]
    command += ["--no-control-socket", "--log-level", "warning", f"benchmarks.peers.constant:{program}"]
    return Server(name, command, {"BENCHMARK_ANSWER": str(answer)}, PATH)


def fast(name: str = "FastAPI", loop: str = "auto") -> Server:
    """`peers.fast` on uvicorn; with the loop "auto" it takes uvloop where that is installed, else asyncio."""
    command = [sys.executable, "-m", "uvicorn", "benchmarks.peers.fast:app", "--host", "127.0.0.1", "--port", "{port}"]
    command += ["--workers", str(WORKERS), "--loop", loop, "--no-access-log", "--log-level", "warning"]
    return Server(name, [*command, "--timeout-keep-alive", "75"], {}, QUESTION)
