"""What if: one or two inputs of a form over a range, as a chart and a table."""

from __future__ import annotations

import csv
import io

import pytest
from flask.testing import FlaskClient

from gramwatt import calculate
from web.pages.browser_page import BROWSER, PARTS, Page, get

PACK = {"cells": "6", "capacity": "1300"}


def chart_url(page: Page) -> str:
    (url,) = [a["src"] for a, _ in page.find("img") if "vary=" in a["src"] and a["src"].endswith("shape=wide")]
    return url


def draw(client: FlaskClient, page: Page) -> str:
    """Return the description of the chart of a page's "what if"."""
    drawn = client.get(chart_url(page))
    assert (drawn.status_code, drawn.mimetype) == (200, "image/svg+xml")
    return Page(drawn.text).one("desc")[1]


def read_table(client: FlaskClient, name: str, **form: str) -> list[dict[str, str]]:
    answer = client.post(f"/calculators/{name}/download", data={**form, "download": "what-if"}, headers=BROWSER)
    assert (answer.status_code, answer.mimetype) == (200, "text/csv"), answer.text
    return list(csv.DictReader(io.StringIO(answer.text)))


def test_every_number_can_vary(client: FlaskClient) -> None:
    page = get(client, "/calculators/pack-energy", **PACK)
    (menu, text) = page.one("select", id="vary")
    assert menu["form"] == "calculator"
    assert "Capacity, mAh" in text
    assert "Chemistry" not in text
    assert not [a for a, _ in page.find("img") if "vary=" in a["src"]]


def test_one_input_gives_a_line_and_a_table(client: FlaskClient) -> None:
    vary = {"vary": "capacity", "from": "1000", "to": "2000"}
    low, high = (
        calculate("pack-energy", cells=6, capacity=capacity)["results"]["usable_energy"] for capacity in (1000, 2000)
    )
    assert draw(client, get(client, "/calculators/pack-energy", **PACK, **vary)) == (
        f"As capacity goes from 1000 mAh to 2000 mAh, usable energy goes from {low:.2f} Wh to {high:.2f} Wh."
    )
    rows = read_table(client, "pack-energy", **PACK, **vary)
    assert len(rows) == 41
    for row, capacity, expected in ((rows[0], 1000, low), (rows[-1], 2000, high)):
        assert float(row["capacity [mAh]"]) == capacity
        assert float(row["usable_energy [Wh]"]) == pytest.approx(expected, rel=5e-12)


def test_without_ends_the_range_is_around_the_present_value(client: FlaskClient) -> None:
    rows = read_table(client, "pack-energy", **PACK, vary="capacity")
    assert [float(rows[at]["capacity [mAh]"]) for at in (0, -1)] == [650, 1950]


@pytest.mark.parametrize(
    ("form", "ends"),
    [
        ({**PACK, "vary": "capacity"}, ("650", "1950")),
        ({**PACK, "capacity": "1300,5", "decimal": ",", "vary": "capacity"}, ("650,2", "1951")),
        ({**PACK, "vary": "cells"}, ("4", "8")),
        ({**PACK, "cells": "2", "vary": "cells"}, ("1", "4")),
        ({**PACK, "reserve": "0", "vary": "reserve"}, ("", "")),
    ],
)
def test_empty_ends_show_the_usual_range(client: FlaskClient, form: dict[str, str], ends: tuple[str, str]) -> None:
    """Half and one and a half times the present value, two fewer and two more of a count; none around 0."""
    page = get(client, "/calculators/pack-energy", **form)
    assert tuple(page.one("input", id=end)[0]["placeholder"] for end in ("from", "to")) == ends
    assert ("give the ends" in page.one("div", id="what-if-chart")[1]) == (ends == ("", ""))


def test_with_a_recording_there_is_the_table_and_no_chart_without_it(client: FlaskClient) -> None:
    """A URL cannot hold a recording."""
    rows = [f"{second},{16.4 - second / 500},{12 + second % 7}" for second in range(120)]
    pack = {"packs.0.name": "four", "packs.0.cells": "4", "packs.0.capacity": "1300", "packs.0.mass": "155"}
    flight = {"flights.0.mass": "455", "flights.0.cells": "4", "flights.0.capacity": "1300"}
    form = {**pack, **flight, "dry_mass": "300", "kv": "1750", "diameter": "5", "pitch": "4.3", "vary": "dry_mass"}
    log = io.BytesIO("\n".join(["time,voltage,current", *rows]).encode())
    answer = client.post("/calculators/build", data={**form, "flights.0.log": (log, "log.csv")}, headers=BROWSER)
    page = Page(answer.text)
    assert page.find("table", class_="values"), page.one("div", id="errors")
    assert not [a for a, _ in page.find("img") if "vary=" in a["src"]]
    assert "no chart of the range" in page.one("div", id="what-if-chart")[1]


def test_a_download_rejects_a_name_given_twice(client: FlaskClient) -> None:
    """As the page and its chart do."""
    answer = client.post("/calculators/pack-energy/download?cells=4&cells=6&capacity=1300", data={"download": "csv"})
    assert answer.status_code == 422
    assert "given 2 times" in answer.text


def test_the_message_about_an_unknown_file_lists_all_kinds(client: FlaskClient) -> None:
    answer = client.post("/calculators/pack-energy/download", data={**PACK, "download": "wibble"})
    assert answer.status_code == 404
    assert "what-if" in answer.get_json()["detail"]


def test_two_inputs_give_a_map(client: FlaskClient) -> None:
    vary = {"vary": "capacity", "from": "1,0 Ah", "to": "2,0 Ah", "vary2": "reserve", "from2": "10", "to2": "30"}
    low, high = (
        calculate("pack-energy", cells=6, capacity=capacity, reserve=reserve)["results"]["usable_energy"]
        for capacity, reserve in ((1000, 30), (2000, 10))
    )
    assert draw(client, get(client, "/calculators/pack-energy", **PACK, **vary, decimal=",")) == (
        "Over capacity and reserve at landing, usable energy is between "
        f"{low:.2f} Wh (at capacity 1000 mAh, reserve at landing 30 %) and "
        f"{high:.2f} Wh (at capacity 2000 mAh, reserve at landing 10 %)."
    )
    rows = read_table(client, "pack-energy", **PACK, **vary, decimal=",")
    assert len({row["reserve [%]"] for row in rows}) == 13
    assert len(rows) == 13 * 13


def test_a_form_with_a_table_varies_too(client: FlaskClient) -> None:
    form = {**PARTS, "vary": "mass_limit", "from": "100", "to": "200"}
    page = get(client, "/calculators/mass-margin", **form)
    low = 100 - 38.4 - 4 * 11.1
    assert draw(client, page) == (
        f"As mass limit goes from 100 g to 200 g, margin below the limit goes from {low:.1f} g to {low + 100:.1f} g."
    )
    main = page.find("img")[0][0]["src"]
    assert "vary" not in main, "the chart of the results stays what it is"
    rows = read_table(client, "mass-margin", **form)
    for row, expected in ((rows[0], low), (rows[-1], low + 100)):
        assert float(row["mass_margin [g]"]) == pytest.approx(expected, rel=5e-12)


@pytest.mark.parametrize(
    ("vary", "reason"),
    [
        ({"vary": "capacity", "vary2": "capacity"}, "two different inputs"),
        ({"vary": "chemistry"}, "Chemistry cannot vary over a range."),
        ({"vary": "wibble"}, 'Unknown input "wibble".'),
        ({"vary": "pack_mass"}, "give the ends"),
        ({"vary": "capacity", "from": "few"}, "number"),
    ],
)
def test_a_wrong_range_says_so_and_keeps_the_results(client: FlaskClient, vary: dict[str, str], reason: str) -> None:
    page = get(client, "/calculators/pack-energy", **PACK, **vary)
    assert reason in page.one("div", id="what-if-chart")[1]
    assert page.one("h2", id="headline")[0]["data-value"] == "23.09 Wh"
    answer = client.post("/calculators/pack-energy/download", data={**PACK, **vary, "download": "what-if"})
    assert answer.status_code == 422


def test_the_usual_range_is_in_the_unit_of_the_input(client: FlaskClient) -> None:
    """The result of the same name may be in another one: 10 °C is 50 °F; from 5 to 15 °C, not from 25 to 75."""
    form = {"air_temperature": "10", "elevation": "0", "vary": "air_temperature", "units": "air_temperature:degF"}
    rows = read_table(client, "air-density", **form)
    assert [float(row["air_temperature [degF]"]) for row in (rows[0], rows[-1])] == pytest.approx([41, 59])
    drawn = get(client, "/calculators/air-density", **form)
    (start, _), (stop, _) = drawn.one("input", name="from"), drawn.one("input", name="to")
    assert (start["placeholder"], stop["placeholder"]) == ("5", "15")
