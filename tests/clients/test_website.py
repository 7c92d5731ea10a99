"""The club's page in a real browser, served from another origin than the service."""

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from clients.browsing import PageLog, site
from clients.running import free_port
from gramwatt import calculate

pytestmark = pytest.mark.client("chromium")

WRITTEN_FOR = 'data-service="http://127.0.0.1:8000"'
REJECTED = "Failed to load resource: the server responded with a status of 422"


def folder_with(examples: Path, folder: Path, service: str) -> Path:
    """Return a copy of the example for a service elsewhere: only the URL differs."""
    shutil.copytree(examples / "website", folder, dirs_exist_ok=True)
    page = (folder / "club.html").read_text(encoding="utf-8")
    assert page.count(WRITTEN_FOR) == 1
    (folder / "club.html").write_text(page.replace(WRITTEN_FOR, f'data-service="{service}"'), encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def club(service: str, examples: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Serve and return the page's URL, on another origin than the service."""
    with site(folder_with(examples, tmp_path_factory.mktemp("site"), service)) as at:
        yield f"{at}/club.html"


@pytest.fixture
def opened(browser: Browser, club: str) -> Iterator[tuple[Page, PageLog]]:
    """Open the page as a visitor first sees it."""
    page = browser.new_page()
    log = PageLog(page)
    page.goto(club)
    expect(page.locator("#verdict")).to_contain_text("Under the limit")
    yield page, log
    page.close()


def row(page: Page, part: int) -> Any:
    """Return the fields of a part, counted from 1."""
    return page.locator(f"#parts li:nth-child({part})")


def test_a_member_fills_in_and_sees_the_margin(opened: tuple[Page, PageLog], club: str, service: str) -> None:
    """Verdict, margin, total and shares are the library's; nothing else is loaded, and the console is empty."""
    page, log = opened
    page.get_by_label("Mass of camera, in grams").fill("1.2 oz")
    page.get_by_role("button", name="Add a part").click()
    row(page, 7).locator(".name").fill("strap <b>")
    page.get_by_label("Mass of strap <b>, in grams").fill("0.75")
    page.get_by_label("Step of the scale, g").fill("0.05")
    page.get_by_role("button", name="Remove propeller").click()
    page.get_by_label("Limit", exact=True).select_option("us-registration")
    page.get_by_role("button", name="Add up").click()
    answer = calculate(
        "mass-margin",
        parts=[
            {"name": "frame", "mass": 38.2},
            {"name": "motor", "mass": 11.4, "count": 4},
            {"name": "electronics", "mass": 31.9},
            {"name": "camera", "mass": "1.2 oz"},
            {"name": "pack", "mass": "96.2 ± 0.5"},
            {"name": "strap <b>", "mass": 0.75},
        ],
        rule="us-registration",
        scale_resolution=0.05,
    )
    found, nbsp = answer["results"], "\u00a0"
    expect(page.locator("#verdict")).to_have_text(f"Under the limit: {found['mass_margin']:.1f}{nbsp}g below it")
    expect(page.locator("#summary")).to_contain_text(f"{found['total_mass']:.1f}{nbsp}g in all")
    expect(page.locator("#summary")).to_contain_text(f"give or take {found['expanded_mass_uncertainty']:.1f}{nbsp}g")
    expect(page.locator("#summary")).to_contain_text(f"The limit is 249.48{nbsp}g or less")
    shown = [cells.split("\t") for cells in page.locator("#shares tbody tr").all_inner_texts()]
    assert [name for name, _, _ in shown] == ["frame", "motor × 4", "electronics", "camera", "pack", "strap <b>"]
    assert [total for _, total, _ in shown] == [f"{value:.1f}{nbsp}g" for value in found["running_total_mass"]]
    assert [share for _, _, share in shown] == [f"{value:.1f} %" for value in found["mass_share_by_part"]]
    assert page.locator("#cautions li").all_inner_texts() == [caution["text"] for caution in answer["cautions"]]
    assert log.errors == []
    assert log.hosts() == {service, club.removesuffix("/club.html")}


@pytest.mark.parametrize(
    ("mass", "verdict"), [("120", "Over the limit: 18.5"), ("101.4", "Too close to call: 0.1"), ("96", "Under")]
)
def test_every_verdict(opened: tuple[Page, PageLog], mass: str, verdict: str) -> None:
    """Typing is enough to get the result."""
    page, _ = opened
    page.get_by_label("Mass of pack, in grams").fill(mass)
    expect(page.locator("#verdict")).to_contain_text(verdict)


def test_errors_appear_next_to_their_fields(opened: tuple[Page, PageLog]) -> None:
    """Each invalid field is marked and described by the service's text; a correction clears it."""
    page, log = opened
    row(page, 1).locator(".mass").fill("38,2")
    row(page, 3).locator(".count").fill("some")
    page.get_by_label("Limit", exact=True).select_option("custom")
    page.get_by_label("Less than, in g").fill("-3")
    page.get_by_role("button", name="Add up").click()
    expect(page.locator(".fault")).to_have_count(3)
    for field, words in (
        (row(page, 1).locator(".mass"), "Write a decimal point, not a comma"),
        (row(page, 3).locator(".count"), "whole number"),
        (page.get_by_label("Less than, in g"), "Must be above 0"),
    ):
        expect(field).to_have_attribute("aria-invalid", "true")
        described = field.get_attribute("aria-describedby")
        expect(field.locator("xpath=..").locator(f"#{described}")).to_contain_text(words)
    expect(row(page, 1).locator(".mass")).to_be_focused()
    assert log.errors != []
    assert all(error.startswith(REJECTED) for error in log.errors)
    row(page, 1).locator(".mass").fill("38.2")
    row(page, 3).locator(".count").fill("4")
    page.get_by_label("Less than, in g").fill("600")
    expect(page.locator(".fault")).to_have_count(0)
    expect(page.locator("[aria-invalid]")).to_have_count(0)
    expect(page.locator("#problem")).to_be_hidden()
    expect(page.locator("#verdict")).to_contain_text("Under the limit: 355.3")


def test_a_missing_service_is_reported(browser: Browser, examples: Path, tmp_path: Path) -> None:
    """Without a service, the page reports that with the URL."""
    nowhere = f"http://127.0.0.1:{free_port()}"
    page = browser.new_page()
    with site(folder_with(examples, tmp_path / "site", nowhere)) as at:
        page.goto(f"{at}/club.html")
        expect(page.locator("#problem")).to_have_text(f"The calculator at {nowhere} did not respond. Try again later.")
        page.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1440])
def test_it_fits_and_follows_the_colour_scheme(browser: Browser, club: str, width: int, scheme: Any) -> None:
    """No sideways scrolling at any width, no field cut off, and paper darker than ink in the dark."""
    page = browser.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme)
    page.goto(club)
    expect(page.locator("#verdict")).to_contain_text("Under the limit")
    assert page.evaluate("document.documentElement.scrollWidth") == width
    assert (
        page.evaluate("[...document.querySelectorAll('input, select')].filter(f => f.scrollWidth > f.clientWidth)")
        == []
    )
    lightness = "name => getComputedStyle(document.body)[name].match(/\\d+/g).slice(0, 3).reduce((a, b) => a + +b, 0)"
    paper, ink = page.evaluate(lightness, "backgroundColor"), page.evaluate(lightness, "color")
    assert (paper > ink) is (scheme == "light")
    page.close()


def test_every_field_and_button_has_a_name(opened: tuple[Page, PageLog]) -> None:
    """Each control has a name for screen readers, and no two fields have the same."""
    page, _ = opened
    snapshot = page.locator("main").aria_snapshot()
    controls = [line.strip() for line in snapshot.splitlines() if line.strip().startswith(("- textbox", "- button"))]
    names = [line.split('"')[1] for line in controls]
    assert len(names) == 6 * 4 + 1 + 1 + 1
    assert all(names)
    assert len(set(names)) == len(names)
