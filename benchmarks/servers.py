"""The servers that are compared: this version of the service, an earlier one, and the peers."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from benchmarks.pack_inputs import PATH
from benchmarks.processes import ROOT, Server

WORKERS: Final = 2
THREADS: Final = 8
PROBE: Final = f"{PATH}?cells=6&capacity=1300&pack_power=500&state_of_charge=70&cell_resistance=8&discharge_rating=100"
OURS: Final = "gramwatt"
EARLIER: Final = "earlier version"
VERSIONS: Final = (OURS, EARLIER)
BARE: Final = "bare WSGI"
VIEW: Final = "constant Flask view"
FAST: Final = "FastAPI"


def ours(name: str = OURS, checkout: Path = ROOT) -> Server:
    """Return the service of a checkout as it is shipped, two workers."""
    command = [sys.executable, "-m", "gramwatt", "serve", "--host", "127.0.0.1", "--port", "{port}"]
    for variable in ("PROMETHEUS_MULTIPROC_DIR", "GRAMWATT_ACCESS_LOG", "GRAMWATT_RATE_LIMIT"):
        os.environ.pop(variable, None)
    environment = {"WEB_CONCURRENCY": str(WORKERS), "PYTHONPATH": str(checkout.resolve() / "service")}
    return Server(name, command, environment, PROBE)


def constant(name: str, program: str, responses: Path) -> Server:
    """Return one of `peers.constant` on gunicorn; ``responses`` is a JSON file of bodies by path."""
    command = [sys.executable, "-m", "gunicorn", "--bind", "127.0.0.1:{port}", "--worker-class", "gthread"]
    command += ["--workers", str(WORKERS), "--threads", str(THREADS), "--keep-alive", "75", "--preload"]
    command += ["--no-control-socket", "--log-level", "warning", f"benchmarks.peers.constant:{program}"]
    return Server(name, command, {"BENCHMARK_RESPONSES": str(responses)}, PATH)


def fast(name: str = FAST, loop: str = "auto") -> Server:
    """Return `peers.fast` on uvicorn; with the loop "auto" it takes uvloop where that is installed, else asyncio."""
    command = [sys.executable, "-m", "uvicorn", "benchmarks.peers.fast:app", "--host", "127.0.0.1", "--port", "{port}"]
    command += ["--workers", str(WORKERS), "--loop", loop, "--no-access-log", "--log-level", "warning"]
    return Server(name, [*command, "--timeout-keep-alive", "75"], {}, PROBE)


def write_responses(folder: Path, bodies: Mapping[str, bytes]) -> Path:
    """Write what the constant peers answer, by path."""
    path = folder / "responses.json"
    path.write_text(json.dumps({name: body.decode() for name, body in bodies.items()}), encoding="utf-8")
    return path
