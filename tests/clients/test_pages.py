"""The service's own pages in a real browser: filled in, faulty, shared, gone back, on a phone, dark, on paper."""

from __future__ import annotations

import contextlib
import io
import re
import zlib
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from clients.browsing import Seen, chromium, serious
from gramwatt import calculate
from gramwatt.charts.themes import THEMES
from gramwatt.engine import registry

pytestmark = pytest.mark.client("chromium")

NAMES = list(registry.load())
EVERYWHERE = ["/", *(f"/calculators/{name}" for name in NAMES), "/calculators/build/frame"]
PAGES = [*EVERYWHERE[:2], *(pytest.param(path, marks=pytest.mark.heavy) for path in EVERYWHERE[2:])]
"""All pages; `make test` looks at the first two, since one template makes them all."""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for this file."""
    with chromium() as made:
        yield made


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A page that must load nothing from elsewhere and leave the console empty."""
    context = browser.new_context(locale="en-GB")
    made = context.new_page()
    made.seen = seen = Seen(made)  # type: ignore[attr-defined]
    yield made
    context.close()
    assert seen.errors == []
    assert len(seen.hosts()) == 1, seen.hosts()


def figure(page: Page) -> str:
    """The headline as it stands."""
    return re.sub(r"\s+", " ", page.locator("#answer .figure").inner_text()).strip()


@pytest.mark.parametrize("path", PAGES)
@pytest.mark.parametrize(("width", "scheme"), [(360, "dark"), (1440, "light")])
def test_it_fits_and_axe_finds_nothing(browser: Browser, service: str, path: str, width: int, scheme: Any) -> None:
    """On a phone in the dark and on a desk in the light: no sideways scrolling, nothing more than minor by axe-core."""
    page = browser.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme, locale="en-GB")
    seen = Seen(page)
    page.goto(service + path)
    for more in page.locator("details").all():
        more.evaluate("node => { node.open = true; }")
    assert page.evaluate("document.documentElement.scrollWidth") == width
    assert serious(page) == []
    assert seen.errors == []
    assert seen.hosts() == {service}
    lightness = "name => getComputedStyle(document.body)[name].match(/\\d+/g).slice(0, 3).reduce((a, b) => a + +b, 0)"
    paper, ink = page.evaluate(lightness, "backgroundColor"), page.evaluate(lightness, "color")
    assert (paper > ink) is (scheme == "light")
    page.locator("#answer picture").scroll_into_view_if_needed()
    expect(page.locator("#answer picture img")).to_have_js_property("complete", True)
    assert page.locator("#answer picture img").evaluate("node => node.naturalWidth") == (355 if width == 360 else 614)
    assert [f"shape={'narrow' if width == 360 else 'wide'}" in url for url in charts(seen)] == [True], "one drawing"
    page.close()


def test_the_first_answer_takes_one_round_trip(browser: Browser, service: str) -> None:
    """It stands in the page itself: with everything but the page held back it is there."""
    page = browser.new_page(locale="en-GB")
    page.route("**/static/**", lambda route: route.abort())
    page.goto(f"{service}/calculators/endurance?cells=6&capacity=1300&power=200")
    value = calculate("endurance", cells=6, capacity=1300, power=200)["results"]["endurance"]
    assert float(figure(page).split(" ")[0]) == pytest.approx(value, abs=0.05)
    page.close()


def test_it_answers_while_one_types_and_the_address_follows(page: Page, service: str) -> None:
    page.goto(f"{service}/calculators/pack-energy")
    page.get_by_label("cells", exact=True).fill("4")
    page.get_by_label("capacity", exact=True).fill("1.5")
    page.get_by_label("Unit of capacity").first.select_option("Ah")
    value = calculate("pack-energy", cells=4, capacity=1500)["results"]["usable_energy"]
    expect(page.locator("#answer .figure")).to_contain_text(f"{value:.5g}"[:5])
    query = parse_qs(urlsplit(page.url).query)
    assert query["cells"] == ["4"]
    assert query["capacity"] == ["1.5"]
    assert query["capacity.unit"] == ["Ah"]
    assert not any(name.startswith("units.") for name in query), "what is usual stays out of the address"
    shared = page.url
    before = figure(page)
    page.goto("about:blank")
    page.goto(shared)
    assert figure(page) == before
    expect(page.get_by_label("capacity", exact=True)).to_have_value("1.5")
    page.reload()
    assert figure(page) == before


def test_back_and_forward(page: Page, service: str) -> None:
    page.goto(f"{service}/calculators/pack-energy?cells=6&capacity=1300")
    six = figure(page)
    page.get_by_label("cells", exact=True).fill("3")
    page.get_by_label("cells", exact=True).press("Enter")
    expect(page.locator("#answer .figure")).not_to_contain_text(six.split(" ")[0])
    three = figure(page)
    page.go_back()
    expect(page.locator("#answer .figure")).to_contain_text(six.split(" ")[0])
    expect(page.get_by_label("cells", exact=True)).to_have_value("6")
    page.go_forward()
    expect(page.locator("#answer .figure")).to_contain_text(three.split(" ")[0])
    expect(page.get_by_label("cells", exact=True)).to_have_value("3")


def test_back_while_a_field_is_being_edited(page: Page, service: str) -> None:
    """Form, answer and address agree again; nothing is asked that nobody asked."""
    page.goto(f"{service}/calculators/pack-energy?cells=6&capacity=1300")
    six = figure(page)
    page.get_by_label("Unit of capacity").first.select_option("As")
    expect(page.locator("#answer .figure")).not_to_contain_text(six.split(" ")[0])
    page.get_by_label("capacity", exact=True).fill("2000")
    expect(page).to_have_url(re.compile("capacity=2000"))
    page.go_back()
    expect(page.locator("#answer .figure")).to_contain_text(six.split(" ")[0])
    expect(page.get_by_label("capacity", exact=True)).to_have_value("1300")
    assert "capacity=1300" in page.url
    page.wait_for_timeout(600)
    assert figure(page) == six
    assert "capacity=1300" in page.url


def test_a_link_within_the_page_leaves_the_form_alone(page: Page, service: str) -> None:
    page.goto(f"{service}/calculators/endurance?cells=6&capacity=-1&power=200")
    page.get_by_role("alert").get_by_role("link", name="capacity").click()
    page.wait_for_timeout(400)
    assert page.evaluate("document.activeElement.id") == "capacity"
    assert len([url for url in page.seen.requests if "/calculators/" in url]) == 1  # type: ignore[attr-defined]


def test_one_drawing_when_typing_ends(page: Page, service: str) -> None:
    """Each pause fetches the part of the page that changes; the last one alone a chart. The old one stays till then."""
    page.clock.install()
    page.goto(f"{service}/calculators/pack-current?cells=6&capacity=1300&power=700")
    image = page.locator("#answer picture img")
    expect(image).to_have_js_property("naturalWidth", 614)
    height = page.evaluate("document.documentElement.scrollHeight")
    page.clock.pause_at(datetime.now(UTC) + timedelta(hours=1))  # from here on time passes by `run_for` alone
    for power in ("500", "600"):
        page.get_by_label("power", exact=True).fill(power)
        with page.expect_response(lambda made: "part=answer" in made.url) as answer:
            page.clock.run_for(350)
        assert "<form" not in answer.value.text()
        expect(page).to_have_url(re.compile(f"power={power}"))
        expect(page.locator("#answer figcaption p")).to_contain_text(f"at {power} W")
        page.clock.run_for(499)
        expect(image).to_have_attribute("src", re.compile("power=700"))
    with page.expect_response(lambda made: "/chart?" in made.url) as drawn:
        page.clock.run_for(1)
    assert "power=600" in drawn.value.url
    expect(image).to_have_attribute("src", re.compile("power=600"))
    expect(image).to_have_js_property("naturalWidth", 614)
    assert page.evaluate("document.documentElement.scrollHeight") == height, "nothing jumps"
    found = charts(page.seen)  # type: ignore[attr-defined]
    assert ["power=700" in url for url in found] == [True, False]


def charts(seen: Seen) -> list[str]:
    """The addresses of charts that a page fetched."""
    return [url for url in seen.requests if "/chart?" in url]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_chart_has_the_colours_of_its_page(browser: Browser, service: str, scheme: Any) -> None:
    """In one SVG for both: most of what is not paper is darker than it in the light, lighter in the dark."""
    page = browser.new_page(viewport={"width": 1440, "height": 1000}, color_scheme=scheme, locale="en-GB")
    page.goto(f"{service}/calculators/pack-current?cells=6&capacity=1300&power=700")
    image = page.locator("#answer picture img")
    image.scroll_into_view_if_needed()
    expect(image).to_have_js_property("naturalWidth", 614)
    with Image.open(io.BytesIO(image.screenshot())) as shot:
        pixels = np.asarray(shot.convert("RGB"), dtype=np.int64).reshape(-1, 3)
    colours, counts = np.unique(pixels, axis=0, return_counts=True)
    paper = colours[counts.argmax()]
    assert "#" + "".join(f"{each:02x}" for each in paper) == THEMES[scheme].paper
    other = pixels[(pixels != paper).any(axis=1)].sum(axis=1)
    assert (np.mean(other) > paper.sum()) == (scheme == "dark")
    for name in ("figure", "mark", "ink"):
        wanted = [int(getattr(THEMES[scheme], name)[at : at + 2], 16) for at in (1, 3, 5)]
        assert (np.abs(pixels - wanted).sum(axis=1) < 12).any(), name
    page.close()


def test_the_chart_without_scripts(browser: Browser, service: str) -> None:
    context = browser.new_context(java_script_enabled=False, locale="en-GB")
    page = context.new_page()
    seen = Seen(page)
    page.goto(f"{service}/calculators/mass-margin")
    page.locator("[id='parts.0.mass']").fill("30.4")
    page.locator("#question .send button").click()
    image = page.locator("#answer picture img")
    image.scroll_into_view_if_needed()
    expect(image).to_have_js_property("naturalWidth", 614)
    assert "parts.0.mass=30.4" in charts(seen)[-1]
    context.close()


def test_every_field_emptied_is_no_first_visit(page: Page, service: str) -> None:
    page.goto(f"{service}/calculators/pack-energy?cells=6")
    page.get_by_label("cells", exact=True).fill("")
    page.get_by_label("cells", exact=True).press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("cells is required")
    expect(page.locator("#answer .figure")).to_have_count(0)


def test_faults_beside_their_fields_and_mended(page: Page, service: str) -> None:
    page.goto(f"{service}/calculators/endurance?cells=6&capacity=1300&power=200")
    power = page.get_by_label("power", exact=True)
    power.fill("-3")
    power.press("Enter")
    expect(power).to_have_attribute("aria-invalid", "true")
    expect(power).to_be_focused()
    expect(page.locator("#power-fault1")).to_contain_text("must be above 0")
    expect(page.locator("#power-fault1")).to_contain_text("Accepted: above 0")
    assert "power-fault1" in (power.get_attribute("aria-describedby") or "")
    expect(page.get_by_role("alert")).to_contain_text("power: must be above 0")
    expect(power).to_have_value("-3")
    power.fill("200")
    expect(page.locator(".fault")).to_have_count(0)
    expect(page.locator("[aria-invalid]")).to_have_count(0)
    expect(page.locator("#answer .figure")).to_contain_text("min")


def test_packs_and_parts_are_rows_to_add(page: Page, service: str) -> None:
    page.goto(f"{service}/calculators/build")
    packs = page.locator("[data-table=packs] > ol > li")
    expect(packs).to_have_count(2)
    page.get_by_role("button", name="Add a row to packs").click()
    expect(packs).to_have_count(3)
    expect(page.locator("[id='packs.2.name']")).to_be_focused()
    page.locator("[id='packs.2.name']").fill("heavy")
    page.locator("[id='packs.2.cells']").fill("6")
    page.locator("[id='packs.2.capacity']").fill("2200")
    page.locator("[id='packs.2.mass']").fill("340")
    expect(page.locator("#answer table.upright thead")).to_contain_text("heavy")
    page.locator("#answer details summary").click()
    expect(page.locator("#answer figcaption p")).to_contain_text("heavy: endurance")
    expect(page.locator("#answer picture img")).to_have_attribute("src", re.compile("packs.2.name=heavy"))
    page.get_by_role("button", name="Take out pack 1").click()
    expect(page.locator("#answer table.upright thead th")).to_have_count(3)
    expect(page.locator("[id='packs.0.name']")).to_have_value("6 cells")
    page.reload()
    expect(page.locator("#answer table.upright thead")).to_contain_text("heavy")
    expect(packs).to_have_count(2)


def test_more_parts_than_an_address_holds(page: Page, service: str) -> None:
    """They are sent otherwise: all are counted, the address stays a short one."""
    parts = "&".join(f"parts.{at}.name=part+number+{at}+of+many+more&parts.{at}.mass=1" for at in range(110))
    page.goto(f"{service}/calculators/mass-margin?limit=250&{parts}")
    expect(page.locator("#answer .figure")).to_contain_text("140")
    for at in (107, 108, 109):
        page.locator(f"[id='parts.{at}.name']").fill("a very long name " * 4)
    page.locator("[id='parts.0.name']").fill("the longest names of all parts, to go beyond what an address may hold")
    page.locator("[id='parts.0.mass']").fill("11")
    page.locator("[id='parts.0.mass']").press("Enter")
    expect(page.locator("#answer .figure")).to_contain_text("130")
    assert len(page.url) < 8000


def test_a_recording_is_dropped_in(page: Page, service: str, examples: Path) -> None:
    page.goto(f"{service}/calculators/flight-log")
    expect(page.locator("#answer .figure")).to_contain_text("Wh")
    page.locator("textarea[name=log]").fill("")
    page.locator("input[type=file]").set_input_files(examples / "overlay" / "flight.csv")
    expect(page.locator("#answer")).not_to_contain_text("To an example")
    image = page.locator("#answer picture img")
    expect(image).to_have_attribute("src", re.compile("^data:image/svg"))
    expect(image).to_have_js_property("complete", True)
    assert image.evaluate("node => node.naturalWidth") == 614


def test_results_change_their_unit(page: Page, service: str) -> None:
    page.goto(f"{service}/calculators/pack-energy?cells=6&capacity=1300")
    page.get_by_label("Unit of usable energy").select_option("kJ")
    expect(page.locator("#answer .figure")).to_contain_text("kJ")
    assert "units.usable_energy=kJ" in page.url


@pytest.mark.parametrize("width", [390, 1440])
def test_lists_of_units_are_as_wide_as_their_units(browser: Browser, service: str, width: int) -> None:
    """A list narrower than its content would cut the last letter of mohm."""
    page = browser.new_page(viewport={"width": width, "height": 800}, locale="en-GB")
    page.goto(f"{service}/calculators/pack-current?cells=6&capacity=1300&power=500")
    widths = page.locator(".figures select.unit").evaluate_all(
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


def test_the_keyboard_alone_is_enough(page: Page, service: str) -> None:
    """Tab from the top: to the content, the fields with their units, the further ones, the button, the figures."""
    page.goto(f"{service}/calculators/pack-energy?cells=6&capacity=1300")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the content"
    reached = []
    for _ in range(30):
        page.keyboard.press("Tab")
        reached.append(
            page.evaluate(
                "document.activeElement.id || document.activeElement.name || document.activeElement.textContent.trim()"
            )
        )
    order = [name for name in reached if name in ("cells", "capacity", "capacity.unit", "decimal", "Work it out")]
    assert order == ["cells", "capacity", "capacity.unit", "Work it out", "decimal"]
    page.locator("#cells").focus()
    page.keyboard.press("Control+a")
    page.keyboard.type("2")
    page.keyboard.press("Enter")
    expect(page.locator("#answer .figure")).to_contain_text("7.69")
    assert parse_qs(urlsplit(page.url).query)["cells"] == ["2"]


def test_where_a_comma_is_the_decimal_sign(browser: Browser, service: str) -> None:
    context = browser.new_context(locale="de-DE")
    page = context.new_page()
    seen = Seen(page)
    page.goto(f"{service}/calculators/mass-margin")
    expect(page.locator("#decimal")).to_have_value(",")
    expect(page.locator("[id='parts.0.mass']")).to_have_value("38,4")
    page.locator("[id='parts.0.mass']").fill("37,15")
    expect(page.locator("#answer .figure")).to_contain_text("1,45")
    assert "decimal=%2C" in page.url
    assert seen.errors == []
    context.close()


def test_a_recording_stays_as_it_is_where_a_comma_is_the_decimal_sign(browser: Browser, service: str) -> None:
    context = browser.new_context(locale="de-DE")
    page = context.new_page()
    page.goto(f"{service}/calculators/flight-comparison")
    expect(page.locator("#decimal")).to_have_value(",")
    page.locator("#question .send button").click()
    expect(page.locator("#answer .figure")).to_contain_text("min")
    expect(page.locator(".fault")).to_have_count(0)
    context.close()


def test_without_scripts(browser: Browser, service: str) -> None:
    """Everything but typing ahead: a form sent, a fault, a row added, a row taken out, a share by address."""
    context = browser.new_context(java_script_enabled=False, locale="en-GB")
    page = context.new_page()
    page.goto(f"{service}/calculators/mass-margin")
    page.locator("[id='parts.0.mass']").fill("abc")
    page.locator("#question .send button").click()
    expect(page.locator("[id='parts.0.mass-fault1']")).to_contain_text("not a number")
    page.locator("[id='parts.0.mass']").fill("30.4")
    page.get_by_role("button", name="Add a row to parts").click()
    expect(page.locator("[id='parts.6.mass']")).to_have_value("")
    page.locator("[id='parts.6.mass']").fill("3")
    page.keyboard.press("Enter")
    expect(page.locator("#answer .figure")).to_contain_text("5.2")
    page.get_by_role("button", name="Take out part 7").click()
    expect(page.locator("#answer .figure")).to_contain_text("8.2")
    url = page.url
    page.goto(f"{service}/")
    page.goto(url)
    expect(page.locator("#answer .figure")).to_contain_text("8.2")
    context.close()


def test_no_answer_from_the_service_is_said_and_nothing_is_lost(browser: Browser, service: str) -> None:
    page = browser.new_page(locale="en-GB")
    page.goto(f"{service}/calculators/pack-energy?cells=6&capacity=1300")
    page.route("**/calculators/**", lambda route: route.abort())
    page.locator("#cells").fill("5")
    expect(page.get_by_role("alert")).to_contain_text("No answer from the service")
    expect(page.locator("#cells")).to_have_value("5")
    page.close()


def test_it_prints(browser: Browser, service: str, tmp_path: Path) -> None:
    """To PDF on A4: a few pages, the answer among them, what is for screens alone left out."""
    page = browser.new_page(locale="en-GB")
    page.goto(f"{service}/calculators/build")
    pdf = page.pdf(path=tmp_path / "build.pdf", format="A4", print_background=True)
    assert pdf.startswith(b"%PDF")
    assert 1 <= len(re.findall(rb"/Type\s*/Page[^s]", pdf)) <= 8
    page.emulate_media(media="print")
    expect(page.locator("#answer .figure")).to_be_visible()
    for hidden in (".send", "#elsewhere", ".mast nav"):
        expect(page.locator(hidden)).to_be_hidden()
    page.close()


def test_a_chart_is_printed_in_its_light_colours(browser: Browser, service: str) -> None:
    """Whatever the screen prefers, paper is white."""
    page = browser.new_page(color_scheme="dark", locale="en-GB")
    page.goto(f"{service}/calculators/build")
    image = page.locator("#answer picture img")
    image.scroll_into_view_if_needed()
    expect(image).to_have_js_property("naturalWidth", 614)
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", page.pdf(format="A4"), re.DOTALL)
    painted = set()
    for stream in streams:
        with contextlib.suppress(zlib.error):  # fonts and pictures are packed otherwise
            painted |= set(re.findall(rb"([\d.]+) ([\d.]+) ([\d.]+) (?:rg|RG)", zlib.decompress(stream)))
    colours = {"#" + "".join(f"{round(255 * float(part)):02x}" for part in colour) for colour in painted}
    assert THEMES["light"].mark in colours
    assert THEMES["dark"].mark not in colours
    page.close()


def test_the_picture_alone_in_light_and_dark(page: Page, service: str) -> None:
    """Opened by itself, under its own strict policy, it has its colours; in an <img> it has its size."""
    for theme, paper in (("light", "rgb(251, 250, 247)"), ("dark", "rgb(21, 25, 27)")):
        page.goto(f"{service}/v1/pack-current/chart?cells=6&capacity=1300&power=700&theme={theme}")
        assert page.evaluate("getComputedStyle(document.querySelector('path')).fill") == paper
        assert page.evaluate("document.querySelector('text').getBoundingClientRect().height") > 8
        assert page.evaluate("document.querySelector('title').textContent") == "How many amps at this power?"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_one_picture_alone_for_light_and_dark(browser: Browser, service: str, scheme: Any) -> None:
    """Opened by itself its style sheet takes effect, at the first visit and from a cache."""
    page = browser.new_page(color_scheme=scheme, locale="en-GB")
    seen = Seen(page)
    for _ in range(2):
        page.goto(f"{service}/v1/pack-current/chart?cells=6&capacity=1300&power=700&theme=auto")
        paper = "rgb(251, 250, 247)" if scheme == "light" else "rgb(21, 25, 27)"
        assert page.evaluate("getComputedStyle(document.querySelector('path')).fill") == paper
    assert seen.errors == []
    page.close()


def test_the_first_page_answers_where_it_stands(page: Page, service: str) -> None:
    page.goto(service)
    page.locator("#masses").fill("100, 120")
    expect(page.locator("#answer .figure")).to_contain_text("30 g")
    assert urlsplit(page.url).path == "/"
    page.get_by_role("link", name="How long will it fly?").click()
    expect(page).to_have_title("How long will it fly? · Gramwatt")
