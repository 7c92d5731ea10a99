"""Tests of the headline in a browser: in view at once and while the form scrolls, grey while a field is wrong."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Browser, Page, expect

from clients.browsing import expect_headline, headline
from gramwatt.engine import registry

pytestmark = pytest.mark.client("chromium")
SCREENS = ((1440, 900), (390, 844), (360, 740))
LINES_ABOVE_CHART = """() => {
    const chart = document.querySelector("#results figure");
    const above = [...document.querySelectorAll("#results > .findings, #results > .standing > summary")]
        .filter((node) => node.compareDocumentPosition(chart) & Node.DOCUMENT_POSITION_FOLLOWING);
    const height = above.reduce((sum, node) => sum + node.getBoundingClientRect().height, 0);
    return height / parseFloat(getComputedStyle(document.querySelector("#results")).lineHeight);
}"""
PAGES = ["/", *(f"/calculators/{name}" for name in registry.load())]


def test_the_first_result_is_in_view(browser: Browser, service: str) -> None:
    """On every page the sentence and what is below it end above the lower edge of the screen.

    Above the chart are five lines or fewer: what follows from these figures, and one for what always holds.
    """
    page = browser.new_page(locale="en-GB")
    page.route("**/chart?**", lambda route: route.abort())  # drawing is not tested here
    for path in PAGES:
        page.goto(service + path)
        for width, height in SCREENS:
            page.set_viewport_size({"width": width, "height": height})
            for part in ("#headline", "#summary"):
                box = page.locator(part).bounding_box()
                assert box is not None, path
                assert 0 <= box["y"] <= height - box["height"], (path, width)
            assert page.evaluate("document.documentElement.scrollWidth") == width, path
            if width > 1000:
                assert page.evaluate(LINES_ABOVE_CHART) <= 5, path
        assert page.locator("#headline").inner_text().strip(), path
    page.close()


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (390, 844)])
def test_the_headline_stays_in_view(browser: Browser, service: str, width: int, height: int) -> None:
    """A person who changes the last field of a long form sees the result change."""
    page = browser.new_page(viewport={"width": width, "height": height}, locale="en-GB")
    page.goto(f"{service}/calculators/build")
    page.locator("#calculator .actions button").scroll_into_view_if_needed()
    assert page.evaluate("scrollY") > 200
    box = page.locator("#headline").bounding_box()
    assert box is not None
    assert 0 <= box["y"] < 100
    page.close()


def test_the_last_result_stays_grey_beside_a_wrong_field(page: Page, service: str) -> None:
    page.goto(f"{service}/calculators/pack-energy?cells=6&capacity=1300")
    six, colour = headline(page), "node => getComputedStyle(node).color"
    before = page.locator("#headline").evaluate(colour)
    for wrong in ("", "many"):
        page.locator("#cells").fill(wrong)
        expect(page.locator("#cells")).to_have_attribute("aria-invalid", "true")
        assert headline(page) == six
        assert page.locator("#headline").evaluate(colour) != before, "opaque, since it stays in view above the rest"
        expect(page.locator("#results picture img")).to_have_count(1)
        expect(page.locator("#cells-error1")).to_be_visible()
    page.locator("#cells").fill("3")
    expect_headline(page, "11.5")
    expect(page.locator(".stale")).to_have_count(0)
    assert page.locator("#headline").evaluate(colour) == before


def test_a_verdict_has_a_colour_of_its_own(page: Page, service: str) -> None:
    """Green, amber and red, none of them that of an error or of the focus; each with a sign and in words."""
    seen = {}
    for mass, sign, word in (("245", "✓", "Under"), ("249.99", "≈", "Too close"), ("255", "✕", "Over")):
        page.goto(f"{service}/calculators/mass-margin?masses={mass}&mass_limit=250&scale_resolution=0.1")
        text = page.locator("#headline").inner_text()
        assert text.startswith(sign)
        assert word in text
        seen[word] = page.locator("#headline").evaluate("node => getComputedStyle(node).color")
    roles = page.evaluate(
        "['--error', '--focus', '--ink'].map((name) => getComputedStyle(document.body).getPropertyValue(name).trim())"
    )
    codes = {"#" + "".join(f"{int(each):02x}" for each in re.findall(r"\d+", color)) for color in seen.values()}
    assert len(codes) == 3
    assert not codes & set(roles)


def test_a_table_that_scrolls_says_so(browser: Browser, service: str) -> None:
    page = browser.new_page(viewport={"width": 360, "height": 740}, locale="en-GB")
    page.goto(f"{service}/calculators/build")
    packs = page.locator("[data-table=packs]")
    packs.locator(".show-rare").check()
    box = packs.locator(".scrollable[data-overflows]")
    expect(box).to_be_visible()
    assert "Scroll sideways" in box.evaluate("node => getComputedStyle(node, '::before').content")
    before = page.locator("[id='packs.0.name']").bounding_box()
    box.evaluate("node => { node.scrollLeft = 200; }")
    after = page.locator("[id='packs.0.name']").bounding_box()
    assert before is not None
    assert after is not None
    assert after["x"] == pytest.approx(before["x"], abs=2), "the first column stays"
    page.close()
