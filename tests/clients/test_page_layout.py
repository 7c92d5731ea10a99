"""Tests of pages in a browser: size, accessibility, printing, the keyboard."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import Browser, Page, expect

from clients.browsing import PageLog, chart_requests, expect_headline, find_accessibility_problems
from gramwatt.engine import registry

pytestmark = pytest.mark.client("chromium")
NAMES = list(registry.load())
EVERYWHERE = ["/", *(f"/calculators/{name}" for name in NAMES), "/calculators/build/frame"]
PAGES = [*EVERYWHERE[:2], *(pytest.param(path, marks=pytest.mark.heavy) for path in EVERYWHERE[2:])]


@pytest.mark.parametrize("path", PAGES)
@pytest.mark.parametrize(("width", "scheme"), [(360, "dark"), (1440, "light")])
def test_it_fits_and_is_accessible(browser: Browser, service: str, path: str, width: int, scheme: Any) -> None:
    """On a phone in the dark and on a desk in the light: no sideways scrolling, nothing more than minor by axe-core."""
    page = browser.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme, locale="en-GB")
    log = PageLog(page)
    page.goto(service + path)
    for more in page.locator("details").all():
        more.evaluate("node => { node.open = true; }")
    assert page.evaluate("document.documentElement.scrollWidth") == width
    assert find_accessibility_problems(page) == []
    assert log.errors == []
    assert log.hosts() == {service}
    lightness = "name => getComputedStyle(document.body)[name].match(/\\d+/g).slice(0, 3).reduce((a, b) => a + +b, 0)"
    paper, ink = page.evaluate(lightness, "backgroundColor"), page.evaluate(lightness, "color")
    assert (paper > ink) is (scheme == "light")
    charts = page.locator("picture img").all()
    for chart in charts:
        chart.scroll_into_view_if_needed()
        expect(chart).to_have_js_property("complete", True)
        assert chart.evaluate("node => node.naturalWidth") == (355 if width == 360 else 614)
    drawn = chart_requests(log)
    assert all(f"shape={'narrow' if width == 360 else 'wide'}" in url for url in drawn)
    assert len(drawn) == len(set(drawn)) == len(charts) > 0, "one drawing of each"
    page.close()


@pytest.mark.parametrize("width", [390, 1440])
def test_unit_menus_are_as_wide_as_their_units(browser: Browser, service: str, width: int) -> None:
    """A list narrower than its content would cut the last letter of mohm."""
    page = browser.new_page(viewport={"width": width, "height": 800}, locale="en-GB")
    page.goto(f"{service}/calculators/pack-current?cells=6&capacity=1300&pack_power=500")
    widths = page.locator(".values select.unit").evaluate_all(
        """lists => lists.map(list => {
            const width = list.getBoundingClientRect().width;
            list.style.maxWidth = list.parentElement.style.maxWidth = "none";
            list.parentElement.style.minWidth = "12rem";
            return [width, list.getBoundingClientRect().width];
        })"""
    )
    page.close()
    assert widths
    assert all(shown == pytest.approx(natural) for shown, natural in widths), widths


def test_it_works_with_the_keyboard_alone(page: Page, service: str) -> None:
    """Tab from the top: to the content, the fields with their units, the further ones, the button, the figures."""
    page.goto(f"{service}/calculators/pack-energy?cells=6&capacity=1300")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to content"
    reached = []
    for _ in range(30):
        page.keyboard.press("Tab")
        reached.append(
            page.evaluate(
                "document.activeElement.id || document.activeElement.name || document.activeElement.textContent.trim()"
            )
        )
    order = [name for name in reached if name in ("cells", "capacity", "capacity.unit", "decimal", "Calculate")]
    assert order == ["cells", "capacity", "capacity.unit", "Calculate", "decimal"]
    page.locator("#cells").focus()
    page.keyboard.press("Control+a")
    page.keyboard.type("2")
    page.keyboard.press("Enter")
    expect_headline(page, "7.69")
    assert parse_qs(urlsplit(page.url).query)["cells"] == ["2"]


def test_it_prints(browser: Browser, service: str, tmp_path: Path) -> None:
    """To PDF on A4: a few pages, the response among them, what is for screens alone left out."""
    page = browser.new_page(locale="en-GB")
    page.goto(f"{service}/calculators/build")
    pdf = page.pdf(path=tmp_path / "build.pdf", format="A4", print_background=True)
    assert pdf.startswith(b"%PDF")
    assert 1 <= len(re.findall(rb"/Type\s*/Page[^s]", pdf)) <= 2
    page.emulate_media(media="print")
    expect(page.locator("#headline")).to_be_visible()
    for hidden in (".actions", "#reuse", ".site-header nav"):
        expect(page.locator(hidden)).to_be_hidden()
    page.close()
