"""What the tests of client programs share: a service run as its user runs it, and programs that may be missing."""

import os
import shutil
import socket
import subprocess
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any, NoReturn

import pytest

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
READY_WITHIN = 60.0
DIRECT = urllib.request.build_opener(urllib.request.ProxyHandler({}))


def environment(**more: str) -> dict[str, str]:
    """Return this process's environment with some more variables, without proxies and without a virtual environment.

    All servers here are on this machine, and LibreOffice would use the Python of a virtual environment.
    """
    variables = {name: value for name, value in os.environ.items() if not name.lower().endswith("_proxy")}
    active = variables.pop("VIRTUAL_ENV", None)
    if active is not None:
        folders = variables.get("PATH", os.defpath).split(os.pathsep)
        variables["PATH"] = os.pathsep.join(folder for folder in folders if not folder.startswith(active))
    return variables | more


def missing(program: str) -> NoReturn:
    """Skip the test, naming what is missing, or fail it where GRAMWATT_REQUIRE_CLIENTS=1."""
    if os.environ.get("GRAMWATT_REQUIRE_CLIENTS") == "1":
        pytest.fail(f"{program} is not installed, and GRAMWATT_REQUIRE_CLIENTS=1")
    pytest.skip(f"{program} is not installed")


def need(program: str) -> str:
    """Return the path of a program; without it the test is skipped or fails."""
    return shutil.which(program) or missing(program)


def number(text: str) -> Any:
    """Convert a cell of a table to what the library accepts: a number, or text with a unit."""
    try:
        return float(text)
    except ValueError:
        return text


def free_port() -> int:
    """Return a free TCP port."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_until_ready(url: str, process: "subprocess.Popen[bytes]", log: Path) -> None:
    """Return once /health/ready answers; fails with the log if it never does."""
    deadline = time.monotonic() + READY_WITHIN
    while time.monotonic() < deadline and process.poll() is None:
        try:
            with DIRECT.open(f"{url}/health/ready", timeout=5):
                return
        except urllib.error.HTTPError as error:
            error.close()
        except OSError:
            pass
        time.sleep(0.05)
    pytest.fail(f"no service at {url}: {log.read_text(errors='replace')[-2000:]}")
