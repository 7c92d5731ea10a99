"""Tests of the reference and of the contract's pages in a browser: size, accessibility, formulas, sent examples."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from clients.browsing import PageLog, find_accessibility_problems
from gramwatt.engine import registry
from gramwatt.engine.query_strings import fits_query
from gramwatt.web.contract_pages.contract import read_contract

pytestmark = pytest.mark.client("chromium")
CALCULATORS = registry.load()
LARGEST = max(
    CALCULATORS, key=lambda name: sum(bool(kind.formula) for kind in CALCULATORS[name].result_fields.values())
)
FIRST = next(name for name, calculator in CALCULATORS.items() if fits_query(calculator))
OPERATION = next(each for each in read_contract().operations.values() if (each.method, each.tag) == ("post", FIRST))
FEW = ["/reference", f"/reference/{LARGEST}", "/docs", f"/docs/{OPERATION.id}"]
REST = [
    *(f"/reference/{name}" for name in CALCULATORS if name != LARGEST),
    f"/docs/schemas/{next(iter(read_contract().schemas))}",
]


def look(
    browser: Browser,
    service: str,
    paths: list[str],
    width: int,
    scheme: Any,
    find: Callable[[Page], list[str]] = find_accessibility_problems,
) -> None:
    """Open pages: no sideways scrolling, nothing that axe-core finds, nothing loaded from elsewhere."""
    page = browser.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme, locale="en-GB")
    log = PageLog(page)
    for path in paths:
        page.goto(service + path)
        page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true; })")
        assert page.evaluate("document.documentElement.scrollWidth") == width, path
        assert find(page) == [], path
        wide = (
            "[...document.querySelectorAll('math:not([tabindex])')].filter(each => each.scrollWidth > each.clientWidth)"
        )
        assert page.evaluate(f"{wide}.map(each => each.textContent)") == [], path
    assert log.errors == []
    assert log.hosts() == {service}
    page.close()


@pytest.mark.parametrize(("width", "scheme"), [(360, "dark"), (1440, "light")])
def test_pages_fit_and_are_accessible(browser: Browser, service: str, width: int, scheme: Any) -> None:
    """On a phone in the dark and on a desk in the light; every formula fits, on several lines if need be, or
    takes the focus, to be scrolled.
    """
    look(browser, service, FEW, width, scheme)


@pytest.mark.heavy
def test_all_pages_fit_a_phone(browser: Browser, service: str) -> None:
    look(browser, service, REST, 360, "light", find=lambda _: [])


def test_formulas_are_drawn_as_mathematics(page: Page, service: str) -> None:
    """A fraction is higher than a line, its numerator above its denominator; a root and a power are drawn as such."""
    page.goto(f"{service}/reference/{LARGEST}")
    places = page.locator("mfrac").first.evaluate(
        """node => {
            const [whole, above, below] = [node, ...node.children].map(each => each.getBoundingClientRect());
            return [whole.top, above.bottom, below.top, whole.bottom];
        }"""
    )
    assert places == sorted(places)
    base, exponent = page.locator("msup").first.evaluate(
        "node => [...node.children].map(each => each.getBoundingClientRect().bottom)"
    )
    assert exponent < base
    expect(page.locator(".formula").first).to_be_visible()


def test_an_example_can_be_changed_and_sent(page: Page, service: str) -> None:
    page.goto(f"{service}/docs/{OPERATION.id}")
    page.get_by_role("button", name="Send").click()
    expect(page.locator("#trial-status")).to_have_text(re.compile(r"^200 "))
    expect(page.locator("#trial-text")).to_contain_text(f'"calculator": "{FIRST}"')
    page.locator("#trial-accept").select_option("text/csv")
    page.get_by_role("button", name="Send").click()
    expect(page.locator("#trial-text")).to_contain_text(CALCULATORS[FIRST].headline)
    expect(page.locator("#trial-text")).not_to_contain_text("{")


def test_pages_work_without_scripts(browser: Browser, service: str) -> None:
    page = browser.new_context(java_script_enabled=False).new_page()
    page.goto(f"{service}/docs")
    page.locator(f'a[href="/docs/{OPERATION.id}"]').click()
    expect(page.locator("h1")).to_contain_text(OPERATION.path)
    expect(page.locator("#trial")).to_be_hidden()
    page.get_by_role("link", name="What it computes").click()
    expect(page.locator("h1")).to_have_text(CALCULATORS[FIRST].title)
    page.get_by_role("link", name="Use the calculator").click()
    expect(page.locator("#headline")).to_be_visible()
    page.context.close()


def test_a_reference_prints(browser: Browser, service: str, tmp_path: Path) -> None:
    """To PDF on A4, without what is for screens alone."""
    page = browser.new_page(locale="en-GB")
    page.goto(f"{service}/reference/{FIRST}")
    pdf = page.pdf(path=tmp_path / "reference.pdf", format="A4", print_background=True)
    assert 1 <= len(re.findall(rb"/Type\s*/Page[^s]", pdf)) <= 3
    page.emulate_media(media="print")
    expect(page.locator(".sources")).to_be_visible()
    for hidden in (".contents", ".others", ".site-header nav"):
        expect(page.locator(hidden)).to_be_hidden()
    page.close()
