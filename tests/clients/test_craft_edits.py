"""Tests in a browser of a craft that is renamed, cleared, too large or damaged."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from clients.browsing import find_accessibility_problems
from clients.builder import EMPTY_CHART, Builder

pytestmark = pytest.mark.client("chromium")
TWO_PACKS: dict[str, Any] = {
    "packs": [
        {"name": "four", "cells": 4, "capacity": 1300, "mass": 155},
        {"name": "six", "cells": 6, "capacity": 1300, "mass": 228},
    ],
    "kv": 2400,
}


@pytest.fixture
def builder(page: Page, service: str) -> Builder:
    """Return someone without a craft."""
    page.route(re.compile("/chart[?]"), lambda route: route.fulfill(content_type="image/svg+xml", body=EMPTY_CHART))
    return Builder(page, service)


def store(builder: Builder, craft: dict[str, Any], name: str) -> None:
    """Store a craft, and open a page with it."""
    builder.open("pack-energy")
    builder.page.evaluate("craft => localStorage.setItem('gramwatt.craft', JSON.stringify(craft))", craft)
    builder.open(name)


def test_another_pack_is_a_new_one(builder: Builder) -> None:
    """Also where the only pack has the name of a second one."""
    store(builder, {"packs": [{"name": "Pack 2", "cells": 4, "capacity": 1300}], "kv": 2400}, "full-throttle")
    builder.page.locator("#chosen-pack").select_option("Another pack")
    builder.settle()
    builder.enter("capacity", 777)
    expect(builder.page.locator("#chosen-pack option:checked")).to_have_text("Pack 3")
    assert builder.craft()["packs"] == [
        {"name": "Pack 2", "cells": 4, "capacity": 1300},
        {"name": "Pack 3", "capacity": 777},
    ]


def test_choosing_a_pack_keeps_that_of_the_flight(builder: Builder) -> None:
    flight = {"name": "evening", "pack": "four", "duration": 5.6, "mass": 510}
    store(builder, TWO_PACKS | {"flights": [flight]}, "endurance-from-flight")
    builder.page.locator("#chosen-pack").select_option("six")
    builder.settle()
    expect(builder.page.locator("#cells")).to_have_value("6")
    expect(builder.page.locator("#reference_cells")).to_have_value("4")
    assert builder.craft()["flights"] == [flight]


def test_clear_lasts(builder: Builder) -> None:
    """The address holds none of the figures that were cleared."""
    page = builder.page
    store(builder, {"parts": [{"name": "hull", "mass": 77}], "mass_limit": 600}, "mass-margin")
    expect(page.locator("[id='parts.0.name']")).to_have_value("hull")
    page.locator("#craft summary").click()
    page.get_by_role("button", name="Clear from this device").click()
    page.get_by_role("button", name="Remove", exact=True).click()
    expect(page.locator("[id='parts.0.name']")).to_have_value("frame")
    builder.settle()
    page.reload()
    builder.settle()
    expect(page.locator("[id='parts.0.name']")).to_have_value("frame")
    assert "?" not in page.url
    assert builder.craft() == {}


def test_a_craft_that_does_not_fit_is_rejected(builder: Builder, tmp_path: Path) -> None:
    """Local storage holds some 5 MB; the craft that is stored stays."""
    store(builder, TWO_PACKS, "pack-energy")
    file = tmp_path / "large.json"
    file.write_text(json.dumps({"packs": [{"name": "x" * 6_000_000}]}), encoding="utf-8")
    builder.page.locator("#craft-file").set_input_files(file)
    expect(builder.page.locator("#craft-message")).to_contain_text("too large for the storage of this browser")
    assert builder.craft() == TWO_PACKS


def test_setups_follow_the_name_of_a_pack(builder: Builder) -> None:
    """On the page and in the craft, in tables that the page does not show too."""
    setups = [{"pack": "six"}, {"pack": "four"}]
    flight = {"name": "dusk", "pack": "six", "duration": 5, "charge": 900}
    craft = {**TWO_PACKS, "dry_mass": 300, "diameter": 5, "pitch": 4.3, "setups": setups, "flights": [flight]}
    store(builder, craft, "build")
    builder.enter("packs.1.name", "six light")
    builder.page.locator("[id='packs.1.name']").blur()
    expect(builder.page.locator("[id='setups.0.pack']")).to_have_value("six light")
    expect(builder.page.locator("#results")).to_contain_text("six light")
    expect(builder.page.locator("#calculator [aria-invalid]")).to_have_count(0)
    assert builder.craft()["setups"] == [{"pack": "six light"}, {"pack": "four"}]
    assert builder.craft()["flights"] == [flight | {"pack": "six light"}]


def test_an_entry_that_is_no_row_does_not_block_edits(builder: Builder) -> None:
    address = f"{builder.service}/calculators/full-throttle#craft="
    craft = {"packs": [None, {"name": "four", "cells": 4, "capacity": 1300}], "kv": 2400}
    builder.page.goto(address + json.dumps(craft))
    expect(builder.page.locator("#chosen-pack")).to_have_count(1)
    builder.settle()
    builder.enter("capacity", 1500)
    assert builder.craft()["packs"] == [{"name": "four", "cells": 4, "capacity": 1500}]


def test_an_example_stays_beside_the_craft_on_its_page(builder: Builder) -> None:
    """Its other figures are not the craft's: they go where they are replaced, and are on no other page."""
    page = builder.page
    builder.open("full-throttle")
    builder.enter("cells", 6)
    expect(page.locator("#calculator [aria-invalid]")).to_have_count(0)
    assert builder.craft() == {"packs": [{"name": "Pack 1", "cells": 6}]}
    builder.open("hover-power")
    expect(page.locator("#summary")).to_contain_text("This is an example")
    builder.open("full-throttle")
    for field, value in {"cells": "6", "capacity": "1300", "kv": "2400", "mass": "0.4"}.items():
        expect(page.locator(f"#{field}")).to_have_value(value)
    builder.enter("capacity", "")
    builder.settle()
    builder.open("full-throttle")
    expect(page.locator("#capacity")).to_have_value("")
    expect(page.locator("#kv")).to_have_value("2400")


def test_a_row_of_another_table_says_where_it_comes_from(builder: Builder) -> None:
    """It cannot be removed here; its mass is the pack's."""
    store(builder, {**TWO_PACKS, "parts": [{"name": "hull", "mass": 77}]}, "mass-margin")
    expect(builder.page.locator("[data-table=parts] tbody .row")).to_have_count(2)
    expect(builder.page.locator("[data-table=parts] tbody [name=remove]")).to_have_count(1)
    expect(builder.page.locator("[data-table=parts] tbody .row .origin")).to_have_text("from packs")
    assert find_accessibility_problems(builder.page) == []


def test_a_pack_among_the_parts_is_pointed_out(builder: Builder) -> None:
    """Until one of the two is removed: an example's list with its pack, and a pack of the table of packs."""
    parts = [{"name": "hull", "mass": 77}, {"name": "Pack", "mass": 103}]
    store(builder, {**TWO_PACKS, "parts": parts}, "mass-margin")
    expect(builder.page.locator("p.origin")).to_have_text("Row 3 comes from packs: is it row 2 again?")
    builder.page.get_by_role("button", name="Remove part 2").click()
    expect(builder.page.locator("p.origin")).to_have_count(0)
    assert builder.craft()["parts"] == parts[:1]


def test_a_pack_without_a_mass_is_weighed_where_it_is_missed(builder: Builder) -> None:
    store(builder, {"packs": [{"name": "four", "cells": 4}], "parts": [{"name": "hull", "mass": 77}]}, "mass-margin")
    expect(builder.page.locator("#errors")).to_contain_text("Mass is required")
    builder.enter("parts.1.mass", 155)
    expect(builder.page.locator("#headline")).to_have_attribute("data-value", "18.00 g ± 0.41 g")
    assert builder.craft()["packs"] == [{"name": "four", "cells": 4, "mass": 155}]


def test_what_no_calculator_asks_for_is_left_out_on_request(builder: Builder) -> None:
    craft = {**TWO_PACKS, "wibble": 1}
    craft["packs"] = [{**TWO_PACKS["packs"][0], "colour": "red"}]
    store(builder, craft, "pack-energy")
    expect(builder.page.locator("#craft-message")).to_contain_text("colour, wibble")
    builder.page.get_by_role("button", name="Leave it out").click()
    expect(builder.page.locator("#errors")).to_be_empty()
    expect(builder.page.locator("#headline")).to_have_attribute("data-result", re.compile("."))
    assert builder.craft() == {**TWO_PACKS, "packs": TWO_PACKS["packs"][:1]}


def test_the_decimal_sign_of_the_device_stays_beside_a_craft(browser: Browser, service: str) -> None:
    """Also where figures of the example stay: they are read with the sign they were typed with."""
    context = browser.new_context(locale="de-DE")
    builder = Builder(context.new_page(), service)
    builder.open("full-throttle")
    builder.enter("kv", "1750,5")
    builder.settle()
    assert builder.craft() == {"kv": 1750.5}
    builder.open("full-throttle")
    for field, value in {"decimal": ",", "kv": "1750,5", "mass": "0,4"}.items():
        expect(builder.page.locator(f"#{field}")).to_have_value(value)
    expect(builder.page.locator("#calculator [aria-invalid]")).to_have_count(0)
    builder.open("pack-energy")
    expect(builder.page.locator("#decimal")).to_have_value(",")
    context.close()


def test_an_edit_while_the_form_is_filled_is_made_again(builder: Builder) -> None:
    """The example that is shown until then leaves nothing in the craft."""
    store(builder, TWO_PACKS, "pack-energy")
    held: list[Route] = []
    hold = "**/calculators/full-throttle"
    builder.page.route(hold, lambda route: held.append(route) if route.request.method == "POST" else route.continue_())
    builder.page.goto(f"{builder.service}/calculators/full-throttle")
    expect(builder.page.locator("#calculator")).to_have_attribute("aria-busy", "true")
    builder.enter("cells", 5)
    builder.page.wait_for_timeout(600)  # longer than the pause while people type
    assert len(held) == 1
    builder.page.unroute(hold)
    held[0].continue_()
    builder.settle()
    for field, value in {"cells": "5", "kv": "2400"}.items():
        expect(builder.page.locator(f"#{field}")).to_have_value(value)
    expect(builder.page.locator("#chosen-pack")).to_have_count(1)
    builder.page.wait_for_function("localStorage.getItem('gramwatt.craft').includes('\"cells\":5')")
    assert builder.craft() == TWO_PACKS | {"packs": [{**TWO_PACKS["packs"][0], "cells": 5}, TWO_PACKS["packs"][1]]}


def test_another_tab_is_filled_once_typing_pauses(builder: Builder) -> None:
    store(builder, TWO_PACKS, "full-throttle")
    other = builder.page.context.new_page()
    sent: list[str] = []
    other.goto(f"{builder.service}/calculators/full-throttle")
    expect(other.locator("#calculator")).not_to_have_attribute("aria-busy", "true")
    other.on("request", lambda request: sent.append(request.method))
    builder.page.locator("#kv").fill("")
    builder.page.locator("#kv").press_sequentially("1750.5", delay=60)
    expect(other.locator("#kv")).to_have_value("1750.5")
    assert sent.count("POST") == 1


def test_the_unit_of_a_result_is_no_part_of_the_craft(builder: Builder) -> None:
    """An example whose figures are unchanged stays an example."""
    builder.open("pack-energy")
    builder.page.locator("#results select.unit").first.select_option(index=1)
    builder.page.locator("#decimal").select_option(",")
    builder.settle()
    assert builder.page.evaluate("localStorage.length") == 0


def test_what_if_comes_with_the_first_result(builder: Builder) -> None:
    builder.page.goto(f"{builder.service}/calculators/pack-energy?cells=4&capacity=lots")
    expect(builder.page.locator("#what-if")).to_be_hidden()
    builder.enter("capacity", 1300)
    expect(builder.page.locator("#what-if")).to_be_visible()
    builder.enter("vary", "cells")
    expect(builder.page.locator("#what-if-chart img")).to_have_count(1)
