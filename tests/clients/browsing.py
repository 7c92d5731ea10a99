"""What the tests in a browser share: the browser, a log of requests and errors, axe, a site of another origin."""

from __future__ import annotations

import functools
import http.server
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from playwright.sync_api import Browser, Page, expect, sync_playwright

from clients.running import missing, need

FLAGS: Final = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]
AXE: Final = Path(__file__).with_name("npm") / "node_modules" / "axe-core" / "axe.min.js"


@contextmanager
def chromium() -> Iterator[Browser]:
    """Yield Debian's Chromium without a window."""
    expect.set_options(timeout=30_000)  # a busy machine is no failure
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=need("chromium"), args=FLAGS)
        yield browser
        browser.close()


class PageLog:
    """The requests and the errors of a page."""

    def __init__(self, page: Page) -> None:
        self.errors: list[str] = []
        self.requests: list[str] = []
        page.on("console", lambda message: self.errors.append(message.text) if message.type != "log" else None)
        page.on("pageerror", lambda error: self.errors.append(str(error)))
        page.on("request", lambda request: self.requests.append(request.url))

    def hosts(self) -> set[str]:
        """Return the origins that received requests."""
        return {"/".join(url.split("/")[:3]) for url in self.requests if not url.startswith(("data:", "blob:"))}


def find_accessibility_problems(page: Page) -> list[str]:
    """Return what axe-core (WCAG 2.2 A and AA, best practices) finds on a page that is more than minor."""
    if not AXE.exists():
        missing("axe-core (npm install in tests/clients/npm)")
    page.evaluate(AXE.read_text(encoding="utf-8"))  # by the debugger, so the page's policy stays as strict as it is
    found: Any = page.evaluate("async () => (await axe.run(document, {resultTypes: ['violations']})).violations")
    return [
        f"{each['impact']} {each['id']}: {each['help']}: {[node['html'][:150] for node in each['nodes']][:3]}"
        for each in found
        if each["impact"] in ("moderate", "serious", "critical")
    ]


def headline(page: Page) -> str:
    """Return the headline result with its unit and its uncertainty."""
    return page.locator("#headline").get_attribute("data-value") or ""


def expect_headline(page: Page, text: str) -> None:
    """Wait until the headline result contains a text."""
    expect(page.locator("#headline")).to_have_attribute("data-value", re.compile(re.escape(text)))


def chart_requests(log: PageLog) -> list[str]:
    """Return the URLs of charts that a page fetched."""
    return [url for url in log.requests if "/chart?" in url]


class _Site(http.server.SimpleHTTPRequestHandler):
    """Serves a folder with a Content-Security-Policy, without a log."""

    policy = ""

    def end_headers(self) -> None:
        """Add the policy."""
        if self.policy:
            self.send_header("Content-Security-Policy", self.policy)
        super().end_headers()

    def log_message(self, *arguments: Any) -> None:
        """Log nothing."""


@contextmanager
def site(folder: Path, policy: str = "") -> Iterator[str]:
    """Yield the URL of a folder, served from another origin than the service."""
    handler = type("Site", (_Site,), {"policy": policy})
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(handler, directory=str(folder))) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()
