"""``make dev`` in a copy of the checkout serves an edited calculator and an edited template."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from gramwatt.engine import registry

ROOT = Path(__file__).resolve().parents[2]
VENV = Path(sys.executable).parent.parent


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """Return a copy of what the service is made of."""
    for name in ("Makefile", "pyproject.toml"):
        shutil.copy(ROOT / name, tmp_path)
    for name in ("service", "openapi"):
        shutil.copytree(ROOT / name, tmp_path / name, ignore=shutil.ignore_patterns("__pycache__"))
    return tmp_path


@pytest.fixture
def url(checkout: Path) -> Iterator[str]:
    """Start the server for development, and return its URL."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    installed = VENV / ".service"  # is up to date, whatever its age: nothing is to be installed here
    with (checkout / "log").open("wb") as log:
        server = subprocess.Popen(
            ["make", "-o", str(installed), "dev", f"VENV={VENV}", f"PORT={port}"],
            cwd=checkout,
            env=os.environ | {"PYTHONPATH": str(checkout / "service")},
            stdout=log,
            stderr=log,
            start_new_session=True,
        )
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        os.killpg(server.pid, signal.SIGTERM)
        server.wait(timeout=20)


def wait_for(url: str, text: str, log: Path) -> None:
    """Wait until a page contains a text."""
    page = "no response"
    end = time.monotonic() + 60
    while time.monotonic() < end:
        try:
            request = urllib.request.Request(url, headers={"Accept": "text/html"})
            with urllib.request.urlopen(request, timeout=20) as response:
                page = response.read().decode()
        except OSError as error:
            page = repr(error)
        if text in page:
            return
        time.sleep(0.5)
    pytest.fail(f"{url} does not contain {text!r}:\n{page[-500:]}\n{log.read_text()[-3000:]}")


def replace(file: Path, old: str, new: str) -> None:
    """Replace a text that the file contains."""
    source = file.read_text(encoding="utf-8")
    assert old in source
    file.write_text(source.replace(old, new), encoding="utf-8")


def test_a_changed_file_is_served_at_once(checkout: Path, url: str) -> None:
    calculator = registry.get(registry.list_names()[0])
    page = f"{url}/calculators/{calculator.name}"
    package = checkout / "service" / "gramwatt"
    log = checkout / "log"
    wait_for(page, calculator.title, log)
    replace(package / "calculators" / f"{calculator.formula.__name__}.py", calculator.title, "A title for the test")
    wait_for(page, "A title for the test", log)
    replace(package / "web" / "templates" / "page.html", "</body>", "A footer for the test</body>")
    wait_for(page, "A footer for the test", log)
