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
    """This process's environment without proxies (everything asked here is on this machine), and some more; nor is any
    virtual environment active in it, whose Python LibreOffice would take for its own."""
    kept = {name: value for name, value in os.environ.items() if not name.lower().endswith("_proxy")}
    active = kept.pop("VIRTUAL_ENV", None)
    if active is not None:
        folders = kept.get("PATH", os.defpath).split(os.pathsep)
        kept["PATH"] = os.pathsep.join(folder for folder in folders if not folder.startswith(active))
    return kept | more


def missing(program: str) -> NoReturn:
    """Skip the test and say what is missing, or fail it where GRAMWATT_REQUIRE_CLIENTS=1."""
    if os.environ.get("GRAMWATT_REQUIRE_CLIENTS") == "1":
        pytest.fail(f"{program} is not installed, and GRAMWATT_REQUIRE_CLIENTS=1")
    pytest.skip(f"{program} is not installed")


def need(program: str) -> str:
    """The program's path; without it the test is skipped or fails."""
    return shutil.which(program) or missing(program)


def number(text: str) -> Any:
    """What a table's cell says as the library takes it: a number, or text with a unit."""
    try:
        return float(text)
    except ValueError:
        return text


def free_port() -> int:
    """A TCP port that nobody listens on."""
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
