"""Tests of a craft on the pages: the whole job with few entries, recordings, files and addresses."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from clients.browsing import find_accessibility_problems
from clients.builder import CRAFT, EMPTY_CHART, Builder, unfold
from gramwatt import calculate

pytestmark = pytest.mark.client("chromium")

MAX_ENTRIES = 45


@pytest.mark.heavy
def test_the_whole_job_takes_few_entries(page: Page, service: str, examples: Path) -> None:
    """Seven parts and four packs: margin, minutes, amps and cap of each, a capped setup, a flight. Nothing twice."""
    page.set_default_timeout(20_000)
    page.route(re.compile("/chart[?]"), lambda route: route.fulfill(content_type="image/svg+xml", body=EMPTY_CHART))
    builder = Builder(page, service)
    builder.open("mass-margin")
    builder.enter_rows("parts", CRAFT["parts"])
    builder.enter("mass_limit", CRAFT["mass_limit"])
    builder.enter("rule", "")  # the example's
    builder.settle()
    builder.open("build")
    builder.enter_rows("packs", CRAFT["packs"])
    for name in ("kv", "diameter", "pitch"):
        builder.enter(name, CRAFT[name])
    builder.settle()
    for pack in CRAFT["packs"]:
        expect(page.locator("#results table").last).to_contain_text(pack["name"])
    builder.enter_rows("setups", CRAFT["setups"])
    builder.settle()
    expect(page.locator("#results table").last).not_to_contain_text("6 cells small")
    assert builder.craft() == CRAFT, "what was typed, and nothing of an example"

    for name in ("mass-margin", "hover-power", "full-throttle"):
        builder.open(name)
        builder.expect_result(name)
    builder.choose("pack", "6 cells")
    builder.expect_result("full-throttle", pack="6 cells")
    builder.open("throttle-cap")
    builder.enter("target_cells", 4)
    builder.settle()
    builder.expect_result("throttle-cap", pack="6 cells", target_cells=4)
    fresh = {"state_of_charge": 100}  # goes on too, since pack-current alone takes half the charge
    for before, name, more in (("hover-power", "endurance", {}), ("full-throttle", "pack-current", fresh)):
        builder.open(before)
        link = page.locator(f"#next a[href*='/calculators/{name}?']")
        taken = link.get_attribute("data-carries")
        link.click()
        builder.settle()
        figure = page.locator(f"#{taken}").input_value()
        assert re.fullmatch(r"[\d.]+ ± [\d.]+", figure), "a result of the page before"
        builder.expect_result(name, pack="6 cells", **{str(taken): figure}, **more)

    builder.open("flight-log")
    builder.upload("log", examples / "overlay" / "flight.csv")
    builder.choose("pack", "4 cells")
    expect(page.locator("#capacity")).to_have_value("1500")
    page.wait_for_load_state("networkidle")
    energy = builder.result()
    assert energy
    page.reload()
    builder.settle()
    expect(page.locator("#results table.values tbody tr:first-child td.number").first).to_have_text(energy)
    page.wait_for_function("document.getElementById('log').files[0]?.name === 'flight.csv'")
    assert builder.craft()["flights"] == [{"name": "Flight 1", "pack": "4 cells"}]
    builder.open("build")
    page.wait_for_function("document.getElementById('flights.0.log').files[0]?.name === 'flight.csv'")
    assert builder.result()
    assert len(builder.entries) <= MAX_ENTRIES, builder.entries
    assert len(set(builder.entries)) == len(builder.entries), "nothing is entered twice"


def test_a_craft_goes_to_a_file_and_back(page: Page, service: str, tmp_path: Path) -> None:
    """With its recording; after it was cleared, the device stores nothing of it."""
    recording = tmp_path / "seconds.csv"
    recording.write_text("a recorder\nSeconds;Pack\n0;16.1\n1;16.0\n2;15.9\n", encoding="utf-8")
    builder = Builder(page, service)
    builder.open("flight-log")
    builder.upload("log", recording)
    expect(page.locator(".columns-picker summary")).to_have_text("Choose the columns of this recording")
    expect(page.locator(".columns-picker tbody tr")).to_have_count(3)
    page.get_by_label("Column of Time", exact=True).select_option("Seconds")
    page.get_by_label("Unit of Time", exact=True).select_option("min")
    page.get_by_label("Column of Voltage", exact=True).select_option("Pack")
    expect(page.locator("#results table.values")).to_contain_text("15.9")
    page.reload()
    builder.settle()
    expect(page.locator("#results table.values")).to_contain_text("15.9")
    assert find_accessibility_problems(page) == []
    page.locator("#craft summary").click()
    with page.expect_download() as download:
        page.get_by_role("button", name="Save as a file").click()
    saved = tmp_path / "craft.json"
    download.value.save_as(saved)
    lists = {"time [min]": [0, 1, 2], "voltage [V]": [16.1, 16.0, 15.9]}
    assert json.loads(saved.read_text(encoding="utf-8")) == {"flights": [{"name": "Flight 1", "log": lists}]}
    assert calculate("flight-log", craft=json.loads(saved.read_text(encoding="utf-8")))["results"][
        "duration"
    ] == pytest.approx(2, rel=5e-12)
    page.get_by_role("button", name="Clear from this device").click()
    page.get_by_role("button", name="Remove", exact=True).click()
    expect(page.locator("#craft-summary")).to_have_text("nothing yet")
    assert page.evaluate("localStorage.length") == 0
    page.locator("#craft-file").set_input_files(saved)
    expect(page.locator("#craft-message")).to_contain_text("1 flight")
    expect(page.locator("#results table.values")).to_contain_text("15.9")
    assert builder.craft() == {"flights": [{"name": "Flight 1"}]}


def test_a_craft_goes_by_address(page: Page, service: str) -> None:
    """Where another craft is stored, people choose between them; one that is too long does not fit."""
    builder = Builder(page, service)
    page.goto(f"{service}/calculators/pack-energy")
    page.evaluate("craft => localStorage.setItem('gramwatt.craft', JSON.stringify(craft))", CRAFT)
    builder.open("pack-energy")
    builder.expect_result("pack-energy", pack="4 cells small")
    page.locator("#craft summary").click()
    page.get_by_role("button", name="Share as an address").click()
    address = page.get_by_label("Address of your craft").input_value()
    page.evaluate("localStorage.clear()")
    page.goto("about:blank")
    page.goto(address)
    builder.expect_result("pack-energy", pack="4 cells small")
    assert builder.craft() == CRAFT
    assert "#craft" not in page.url
    page.evaluate("localStorage.setItem('gramwatt.craft', JSON.stringify({kv: 1}))")
    page.goto("about:blank")
    page.goto(address)
    expect(page.locator("#craft-message")).to_contain_text("7 parts, 4 packs, 2 setups and 4 more figures")
    page.get_by_role("button", name="Keep mine").click()
    assert builder.craft() == {"kv": 1}
    many = {"parts": [{"name": f"part number {at}", "mass": at} for at in range(200)]}
    page.evaluate("craft => localStorage.setItem('gramwatt.craft', JSON.stringify(craft))", many)
    page.reload()
    page.locator("#craft summary").click()
    page.get_by_role("button", name="Share as an address").click()
    expect(page.locator("#craft-message")).to_contain_text("does not fit an address")


def test_the_figures_of_an_address_stay_apart(page: Page, service: str) -> None:
    """Until people decide, they change no craft; what is typed on the home page goes along with its link."""
    builder = Builder(page, service)
    page.goto(service)
    page.locator("#masses").fill("100, 120")
    link = page.locator("#more a")
    expect(link).to_have_attribute("href", re.compile("masses=100"))
    page.evaluate("localStorage.setItem('gramwatt.craft', JSON.stringify({mass_limit: 300}))")
    link.click()
    builder.settle()
    expect(page.locator("#masses")).to_have_value("100, 120")
    page.locator("#masses").fill("100, 130")
    assert builder.craft() == {"mass_limit": 300}
    page.get_by_role("button", name="Add these to my craft").click()
    assert builder.craft()["masses"] == [100, 130]


def test_rows_keep_their_recordings(page: Page, service: str, examples: Path) -> None:
    """When a row is removed, later ones move up with theirs."""
    builder = Builder(page, service)
    builder.open("build")
    for number, duration in enumerate((4, 5)):
        button = page.locator("[data-table=flights] [name=add]")
        unfold(button)
        button.click()
        builder.enter(f"flights.{number}.duration", duration)
    builder.upload("flights.1.log", examples / "overlay" / "flight.csv")
    expect(page.locator("[id='flights.1.log'] ~ .columns-picker")).to_have_count(1)
    page.get_by_role("button", name=re.compile("Remove .*flight 1")).click()
    expect(page.locator("[data-table=flights] .row")).to_have_count(1)
    page.wait_for_function("localStorage.getItem('gramwatt.craft').includes('5')")
    page.wait_for_load_state("networkidle")
    builder.open("build")
    page.wait_for_function("document.getElementById('flights.0.log').files[0]?.name === 'flight.csv'")
    expect(page.locator("[id='flights.0.duration']")).to_have_value("5")


def test_a_caption_is_shown_on_a_frame(page: Page, service: str) -> None:
    page.goto(f"{service}/calculators/overlay-cues")
    canvas = page.locator("#still canvas")
    expect(canvas).to_be_visible()
    expect(canvas).to_have_attribute("aria-label", re.compile(r"Caption on a frame: .*V"))
    assert canvas.evaluate("node => [node.width, node.height]") == [1920, 1080]
    colors = "node => new Set(node.getContext('2d').getImageData(0, 0, 1920, 1080).data).size"
    assert canvas.evaluate(colors) > 20, "a scene and a caption"
    for kind in ("vtt", "srt", "ass", "png"):
        with page.expect_download() as download:
            page.locator(f"#downloads button[value={kind}]").click()
        assert download.value.suggested_filename.endswith(f".{kind}")
    with page.expect_download() as download:
        page.get_by_role("button", name="Save this frame").click()
    assert download.value.suggested_filename == "frame.png"
    assert Path(download.value.path()).read_bytes().startswith(b"\x89PNG")


def test_a_craft_over_its_limit_is_brought_under_it(page: Page, service: str, examples: Path) -> None:
    """An invented craft of 253 g against 250 g: two entries, from its file to the first line of the results."""
    builder = Builder(page, service)
    builder.open("fit-out")
    page.locator("#craft summary").click()
    page.locator("#craft-file").set_input_files(examples / "craft" / "over-limit.json")
    expect(page.locator("#craft-message")).to_contain_text("2 packs")
    headline = page.locator("#headline")
    expect(headline).to_contain_text("under the limit")
    expect(page.locator("#results")).to_contain_text(re.compile(r"its margin is [-−]3\.0+ g"))
    craft = json.loads((examples / "craft" / "over-limit.json").read_text(encoding="utf-8"))
    results = calculate("fit-out", craft=craft)["results"]
    assert results["present_mass_margin"] == pytest.approx(-3, rel=1e-9)
    assert results["swapped_mass_margin"] > 0
    expect(headline).to_contain_text(results["recommended_swap"])
    assert find_accessibility_problems(page) == []
