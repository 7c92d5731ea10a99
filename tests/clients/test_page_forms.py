"""Tests of forms in a browser: typing, errors, rows, history, decimal signs, without scripts."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from clients.browsing import PageLog, expect_headline, headline
from gramwatt import calculate

pytestmark = pytest.mark.client("chromium")


def test_the_first_result_needs_one_request(browser: Browser, service: str) -> None:
    """It is in the page itself: with everything but the page held back it is there."""
    page = browser.new_page(locale="en-GB")
    page.route("**/static/**", lambda route: route.abort())
    page.goto(f"{service}/calculators/endurance?cells=6&capacity=1300&mean_power=200")
    value = calculate("endurance", cells=6, capacity=1300, mean_power=200)["results"]["endurance"]
    assert float(headline(page).split(" ")[0]) == pytest.approx(value, abs=0.05)
    page.close()


def test_results_and_address_follow_the_inputs(page: Page, service: str) -> None:
    page.goto(f"{service}/calculators/pack-energy")
    page.locator("#cells").fill("4")
    page.locator("#capacity").fill("1.5")
    page.get_by_label("Unit of Capacity").first.select_option("Ah")
    value = calculate("pack-energy", cells=4, capacity=1500)["results"]["usable_energy"]
    expect_headline(page, f"{value:.5g}"[:5])
    query = parse_qs(urlsplit(page.url).query)
    assert query["cells"] == ["4"]
    assert query["capacity"] == ["1.5"]
    assert query["capacity.unit"] == ["Ah"]
    assert not any(name.startswith("units.") for name in query), "what is usual stays out of the address"
    shared = page.url
    before = headline(page)
    page.goto("about:blank")
    page.goto(shared)
    assert headline(page) == before
    expect(page.locator("#capacity")).to_have_value("1.5")
    page.reload()
    assert headline(page) == before


def test_back_and_forward(page: Page, service: str) -> None:
    page.goto(f"{service}/calculators/pack-energy?cells=6&capacity=1300")
    six = headline(page)
    # At once: after a pause in typing the form submits itself without an entry in the history.
    page.locator("#cells").evaluate(
        "node => { node.value = '3'; for (const type of ['input', 'change'])"
        " node.dispatchEvent(new Event(type, { bubbles: true })); }"
    )
    expect(page.locator("#headline")).not_to_have_attribute("data-value", six)
    three = headline(page)
    page.go_back()
    expect_headline(page, six.split(" ")[0])
    expect(page.locator("#cells")).to_have_value("6")
    page.go_forward()
    expect_headline(page, three.split(" ")[0])
    expect(page.locator("#cells")).to_have_value("3")


def test_back_while_a_field_is_edited(page: Page, service: str) -> None:
    """Form, answer and address agree again; no request is sent without a reason."""
    page.goto(f"{service}/calculators/pack-energy?cells=6&capacity=1300")
    six = headline(page)
    page.get_by_label("Unit of Capacity").first.select_option("As")
    expect(page.locator("#headline")).not_to_have_attribute("data-value", six)
    page.locator("#capacity").fill("2000")
    expect(page).to_have_url(re.compile("capacity=2000"))
    page.go_back()
    expect_headline(page, six.split(" ")[0])
    expect(page.locator("#capacity")).to_have_value("1300")
    assert "capacity=1300" in page.url
    page.wait_for_timeout(600)
    assert headline(page) == six
    assert "capacity=1300" in page.url


def test_an_outdated_response_that_rejects_the_form_is_not_shown(page: Page, service: str) -> None:
    page.goto(f"{service}/calculators/pack-energy?cells=6&capacity=1300")
    held: list[Route] = []
    page.route("**/*cells=5*part=results", lambda route: held.append(route))
    page.locator("#cells").fill("5")
    with page.expect_request("**/*cells=5*part=results"):
        page.locator("#cells").press("Enter")
    page.locator("#cells").fill("3")
    page.locator("#cells").press("Enter")
    expect_headline(page, "11.5")
    with page.expect_response(lambda response: response.status == 413):
        held.pop().fulfill(status=413, body="")
    page.wait_for_timeout(200)
    expect(page.locator("#errors")).to_be_empty()
    log: PageLog = page.log  # type: ignore[attr-defined]
    assert [("413" in error) for error in log.errors] == [True], "the browser's own note of the status"
    log.errors.clear()


def test_a_link_within_the_page_keeps_the_form(page: Page, service: str) -> None:
    page.goto(f"{service}/calculators/endurance?cells=6&capacity=-1&mean_power=200")
    page.get_by_role("alert").get_by_role("link", name="Capacity").click()
    page.wait_for_timeout(400)
    assert page.evaluate("document.activeElement.id") == "capacity"
    assert len([url for url in page.log.requests if "/calculators/" in url]) == 1  # type: ignore[attr-defined]


def test_an_emptied_form_is_not_a_first_visit(page: Page, service: str) -> None:
    page.goto(f"{service}/calculators/pack-energy?cells=6")
    page.locator("#cells").fill("")
    page.locator("#cells").press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("Cells in series is required")
    expect(page.locator(".columns.stale #headline")).to_be_visible()


def test_errors_beside_fields_disappear_when_fixed(page: Page, service: str) -> None:
    page.goto(f"{service}/calculators/endurance?cells=6&capacity=1300&mean_power=200")
    power = page.locator("#mean_power")
    power.fill("-3")
    power.press("Enter")
    expect(power).to_have_attribute("aria-invalid", "true")
    expect(power).to_be_focused()
    expect(page.locator("#mean_power-error1")).to_contain_text("ust be above 0")
    expect(page.locator("#mean_power-error1")).to_contain_text("Accepted: above 0")
    assert "power-error1" in (power.get_attribute("aria-describedby") or "")
    expect(page.get_by_role("alert")).to_contain_text(re.compile("Average power: [Mm]ust be above 0"))
    expect(power).to_have_value("-3")
    power.fill("200")
    expect(page.locator("p.error")).to_have_count(0)
    expect(page.locator("[aria-invalid]")).to_have_count(0)
    expect_headline(page, "min")


def test_rows_are_added_and_removed(page: Page, service: str) -> None:
    page.goto(f"{service}/calculators/build")
    while page.locator("[data-table=setups] .row").count():  # without setups each pack is one
        page.locator("[data-table=setups] .remove-row").last.evaluate("node => node.click()")
    packs = page.locator("[data-table=packs] tbody > tr")
    expect(packs).to_have_count(2)
    page.get_by_role("button", name="Add a pack").click()
    expect(packs).to_have_count(3)
    expect(page.locator("[id='packs.2.name']")).to_be_focused()
    page.locator("[id='packs.2.name']").fill("heavy")
    page.locator("[id='packs.2.cells']").fill("6")
    page.locator("[id='packs.2.capacity']").fill("2200")
    page.locator("[id='packs.2.mass']").fill("340")
    expect(page.locator("#results table.transposed thead")).to_contain_text("heavy")
    page.locator("#results .words summary").first.click()
    expect(page.locator("#results .words p").first).to_contain_text("heavy: ")
    expect(page.locator("#results picture img").first).to_have_attribute("src", re.compile("packs.2.name=heavy"))
    page.get_by_role("button", name="Remove pack 1").click()
    expect(page.locator("#results table.transposed thead th")).to_have_count(3)
    expect(page.locator("[id='packs.0.name']")).to_have_value("6 cells")
    page.reload()
    expect(page.locator("#results table.transposed thead")).to_contain_text("heavy")
    expect(packs).to_have_count(2)


def test_more_parts_than_a_url_holds(page: Page, service: str) -> None:
    """They are sent otherwise: all are counted, the address stays a short one."""
    parts = "&".join(f"parts.{at}.name=part+number+{at}+of+many+more&parts.{at}.mass=1" for at in range(110))
    page.goto(f"{service}/calculators/mass-margin?mass_limit=250&{parts}")
    expect_headline(page, "140")
    for at in (107, 108, 109):
        page.locator(f"[id='parts.{at}.name']").fill("a very long name " * 4)
    page.locator("[id='parts.0.name']").fill("the longest names of all parts, to go beyond what an address may hold")
    page.locator("[id='parts.0.mass']").fill("11")
    page.locator("[id='parts.0.mass']").press("Enter")
    expect_headline(page, "130")
    assert len(page.url) < 8000


def test_a_recording_is_uploaded(page: Page, service: str, examples: Path) -> None:
    page.goto(f"{service}/calculators/flight-log")
    expect_headline(page, "Wh")
    page.locator("#log").set_input_files(examples / "overlay" / "flight.csv")
    expect(page.locator("#summary")).not_to_contain_text("This is an example")
    image = page.locator("#results picture img").first
    expect(image).to_have_attribute("src", re.compile("^data:image/svg"))
    expect(image).to_have_js_property("complete", True)
    assert image.evaluate("node => node.naturalWidth") == 614


def test_results_change_their_unit(page: Page, service: str) -> None:
    page.goto(f"{service}/calculators/pack-energy?cells=6&capacity=1300")
    page.get_by_label(re.compile("Unit of usable energy", re.IGNORECASE)).select_option("kJ")
    expect_headline(page, "kJ")
    assert "units.usable_energy=kJ" in page.url


def test_where_a_comma_is_the_decimal_sign(browser: Browser, service: str) -> None:
    context = browser.new_context(locale="de-DE")
    page = context.new_page()
    log = PageLog(page)
    page.goto(f"{service}/calculators/mass-margin")
    expect(page.locator("#decimal")).to_have_value(",")
    expect(page.locator("[id='parts.0.mass']")).to_have_value("38,4")
    page.locator("[id='parts.0.mass']").fill("37,15")
    expect_headline(page, "1,45")
    assert "decimal=%2C" in page.url
    assert log.errors == []
    context.close()


def test_a_recording_keeps_its_points_where_a_comma_is_the_decimal_sign(browser: Browser, service: str) -> None:
    context = browser.new_context(locale="de-DE")
    page = context.new_page()
    page.goto(f"{service}/calculators/flight-comparison")
    expect(page.locator("#decimal")).to_have_value(",")
    page.locator("#calculator .actions button").click()
    expect_headline(page, "min")
    expect(page.locator("p.error")).to_have_count(0)
    context.close()


def test_without_scripts(browser: Browser, service: str) -> None:
    """Everything but typing ahead: a form sent, an error, a row added, a row taken out, a share by address."""
    context = browser.new_context(java_script_enabled=False, locale="en-GB")
    page = context.new_page()
    page.goto(f"{service}/calculators/mass-margin")
    page.locator("[id='parts.0.mass']").fill("abc")
    page.locator("#calculator .actions button").click()
    expect(page.locator("[id='parts.0.mass-error1']")).to_contain_text("Enter a number")
    page.locator("[id='parts.0.mass']").fill("30.4")
    page.get_by_role("button", name="Add a part").click()
    expect(page.locator("[id='parts.6.mass']")).to_have_value("")
    page.locator("[id='parts.6.mass']").fill("3")
    page.keyboard.press("Enter")
    expect_headline(page, "5.2")
    page.get_by_role("button", name="Remove part 7").click()
    expect_headline(page, "8.2")
    url = page.url
    page.goto(f"{service}/")
    page.goto(url)
    expect_headline(page, "8.2")
    context.close()


def test_without_a_response_the_inputs_stay(browser: Browser, service: str) -> None:
    page = browser.new_page(locale="en-GB")
    page.goto(f"{service}/calculators/pack-energy?cells=6&capacity=1300")
    page.route("**/calculators/**", lambda route: route.abort())
    page.locator("#cells").fill("5")
    expect(page.get_by_role("alert")).to_contain_text("The service does not respond")
    expect(page.locator("#cells")).to_have_value("5")
    page.close()


def test_the_home_page_computes_in_place(page: Page, service: str) -> None:
    page.goto(service)
    page.locator("#masses").fill("100, 120")
    expect_headline(page, "30.00 g")
    assert urlsplit(page.url).path == "/"
    page.get_by_role("link", name="How long will it fly?").click()
    expect(page).to_have_title("How long will it fly? · Gramwatt")
