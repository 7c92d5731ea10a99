"""Tests of charts on pages in a browser: when they are fetched, their colours."""

from __future__ import annotations

import contextlib
import io
import re
import zlib
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from clients.browsing import PageLog, chart_requests
from gramwatt.charts.themes import THEMES

pytestmark = pytest.mark.client("chromium")


def test_the_chart_is_fetched_once_when_typing_ends(page: Page, service: str) -> None:
    """Each pause fetches the part of the page that changes; the last one alone a chart. The old one stays till then."""
    page.clock.install()
    page.goto(f"{service}/calculators/pack-current?cells=6&capacity=1300&pack_power=700")
    image = page.locator("#results picture img")
    expect(image).to_have_js_property("naturalWidth", 614)
    height = page.evaluate("document.documentElement.scrollHeight")
    page.clock.pause_at(datetime.now(UTC) + timedelta(hours=1))  # from here on time passes by `run_for` alone
    for power in ("500", "600"):
        page.locator("#pack_power").fill(power)
        with page.expect_response(lambda made: "part=results" in made.url) as answer:
            page.clock.run_for(350)
        assert "<form" not in answer.value.text()
        expect(page).to_have_url(re.compile(f"pack_power={power}"))
        expect(page.locator("#results .words p")).to_contain_text(f"at {power} W")
        page.clock.run_for(499)
        expect(image).to_have_attribute("src", re.compile("pack_power=700"))
    with page.expect_response(lambda made: "/chart?" in made.url) as drawn:
        page.clock.run_for(1)
    assert "pack_power=600" in drawn.value.url
    expect(image).to_have_attribute("src", re.compile("pack_power=600"))
    expect(image).to_have_js_property("naturalWidth", 614)
    assert page.evaluate("document.documentElement.scrollHeight") == height, "nothing jumps"
    found = chart_requests(page.log)  # type: ignore[attr-defined]
    assert ["pack_power=700" in url for url in found] == [True, False]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_chart_has_the_colours_of_its_page(browser: Browser, service: str, scheme: Any) -> None:
    """In one SVG for both: most of what is not paper is darker than it in the light, lighter in the dark."""
    page = browser.new_page(viewport={"width": 1440, "height": 1000}, color_scheme=scheme, locale="en-GB")
    page.goto(f"{service}/calculators/pack-current?cells=6&capacity=1300&pack_power=700")
    image = page.locator("#results picture img")
    image.scroll_into_view_if_needed()
    expect(image).to_have_js_property("naturalWidth", 614)
    with Image.open(io.BytesIO(image.screenshot())) as shot:
        pixels = np.asarray(shot.convert("RGB"), dtype=np.int64).reshape(-1, 3)
    colours, counts = np.unique(pixels, axis=0, return_counts=True)
    paper = colours[counts.argmax()]
    assert "#" + "".join(f"{each:02x}" for each in paper) == THEMES[scheme].background
    other = pixels[(pixels != paper).any(axis=1)].sum(axis=1)
    assert (np.mean(other) > paper.sum()) == (scheme == "dark")
    for name in ("accent", "highlight", "text"):
        wanted = [int(getattr(THEMES[scheme], name)[at : at + 2], 16) for at in (1, 3, 5)]
        assert (np.abs(pixels - wanted).sum(axis=1) < 12).any(), name
    page.close()


def test_the_chart_without_scripts(browser: Browser, service: str) -> None:
    context = browser.new_context(java_script_enabled=False, locale="en-GB")
    page = context.new_page()
    log = PageLog(page)
    page.goto(f"{service}/calculators/mass-margin")
    page.locator("[id='parts.0.mass']").fill("30.4")
    page.locator("#calculator .actions button").click()
    image = page.locator("#results picture img")
    image.scroll_into_view_if_needed()
    expect(image).to_have_js_property("naturalWidth", 614)
    assert "parts.0.mass=30.4" in chart_requests(log)[-1]
    context.close()


def test_a_chart_is_printed_in_light_colours(browser: Browser, service: str) -> None:
    """Whatever the screen prefers, paper is white."""
    page = browser.new_page(color_scheme="dark", locale="en-GB")
    page.goto(f"{service}/calculators/build")
    image = page.locator("#results picture img").first
    image.scroll_into_view_if_needed()
    expect(image).to_have_js_property("naturalWidth", 614)
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", page.pdf(format="A4"), re.DOTALL)
    painted = set()
    for stream in streams:
        with contextlib.suppress(zlib.error):  # fonts and pictures are packed otherwise
            painted |= set(re.findall(rb"([\d.]+) ([\d.]+) ([\d.]+) (?:rg|RG)", zlib.decompress(stream)))
    colours = {"#" + "".join(f"{round(255 * float(part)):02x}" for part in colour) for colour in painted}
    assert THEMES["light"].highlight in colours
    assert THEMES["dark"].highlight not in colours
    page.close()


def test_a_chart_alone_in_light_and_dark(page: Page, service: str) -> None:
    """Opened by itself, under its own strict policy, it has its colours; in an <img> it has its size."""
    for theme, paper in (("light", "rgb(251, 250, 247)"), ("dark", "rgb(21, 25, 27)")):
        page.goto(f"{service}/v1/pack-current/chart?cells=6&capacity=1300&pack_power=700&theme={theme}")
        assert page.evaluate("getComputedStyle(document.querySelector('path')).fill") == paper
        assert page.evaluate("document.querySelector('text').getBoundingClientRect().height") > 8
        assert page.evaluate("document.querySelector('title').textContent") == "Current and voltage against power"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_one_svg_for_light_and_dark(browser: Browser, service: str, scheme: Any) -> None:
    """Opened by itself its style sheet takes effect, at the first visit and from a cache."""
    page = browser.new_page(color_scheme=scheme, locale="en-GB")
    log = PageLog(page)
    for _ in range(2):
        page.goto(f"{service}/v1/pack-current/chart?cells=6&capacity=1300&pack_power=700&theme=auto")
        paper = "rgb(251, 250, 247)" if scheme == "light" else "rgb(21, 25, 27)"
        assert page.evaluate("getComputedStyle(document.querySelector('path')).fill") == paper
    assert log.errors == []
    page.close()
