"""Fixtures for client programs: a running service, a browser. Tests skip where a program is missing."""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from clients.browsing import PageLog, chromium
from clients.running import EXAMPLES, environment, free_port, need, wait_until_ready


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip, or fail where they are required, a test whose client markers name a program that is missing."""
    for marker in item.iter_markers("client"):
        for program in marker.args:
            need(program)


@pytest.fixture(scope="session")
def examples() -> Path:
    """Return the folder of the examples."""
    return EXAMPLES


@pytest.fixture(scope="session")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Yield the base URL of a service that ends after the tests."""
    port = free_port()
    log = tmp_path_factory.mktemp("service") / "log"
    with (
        log.open("wb") as sink,
        subprocess.Popen(
            [sys.executable, "-m", "gramwatt", "serve", "--port", str(port)],
            stdin=subprocess.DEVNULL,
            stdout=sink,
            stderr=subprocess.STDOUT,
            env=environment(),
        ) as process,
    ):
        try:
            url = f"http://127.0.0.1:{port}"
            wait_until_ready(url, process, log)
            yield url
        finally:
            process.terminate()
            try:
                process.wait(30)
            except subprocess.TimeoutExpired:
                process.kill()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Return one browser for the tests of a module."""
    with chromium() as made:
        yield made


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """Yield a page that must load nothing from elsewhere and leave the console empty."""
    context = browser.new_context(locale="en-GB")
    made = context.new_page()
    made.log = log = PageLog(made)  # type: ignore[attr-defined]
    yield made
    context.close()
    assert log.errors == []
    assert len(log.hosts()) == 1, log.hosts()
