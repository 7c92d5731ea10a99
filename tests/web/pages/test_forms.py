"""Tests of forms sent without scripts: units, decimal signs, errors, rows of tables, recordings."""

from __future__ import annotations

import io
import re
from typing import Any
from urllib.parse import urlencode

import pytest
from flask.testing import FlaskClient

from gramwatt import calculate
from gramwatt.model.messages import format_number
from web.pages.browser_page import (
    BROWSER,
    PARTS,
    Page,
    get,
    headline,
    last_place,
)


@pytest.mark.parametrize(
    ("query", "inputs"),
    [
        ({"capacity": "1300"}, {"capacity": 1300}),
        ({"capacity": "1.3", "capacity.unit": "Ah"}, {"capacity": "1.3 Ah"}),
        ({"capacity": "1.3 Ah", "capacity.unit": "mAh"}, {"capacity": "1.3 Ah"}),
        ({"capacity": "1300 ± 20", "capacity.unit": "mAh"}, {"capacity": "1300 ± 20"}),
        ({"capacity": "1.3 +/- 0.02", "capacity.unit": "Ah"}, {"capacity": "1.3 +/- 0.02 Ah"}),
        ({"capacity": "1,3", "capacity.unit": "Ah", "decimal": ","}, {"capacity": "1.3 Ah"}),
        ({"capacity": " 1300 "}, {"capacity": 1300}),
    ],
    ids=lambda case: str(case),
)
def test_units_and_decimals_beside_a_number(client: FlaskClient, query: dict[str, str], inputs: dict[str, Any]) -> None:
    page = get(client, "/calculators/pack-energy", cells="6", **query)
    found = calculate("pack-energy", cells=6, **inputs)["results"]["usable_energy"]
    shown = headline(page).split(" ")[0].replace(",", ".")
    assert float(shown) == pytest.approx(found, abs=0.6 * last_place(shown))


def test_a_decimal_comma_goes_both_ways(client: FlaskClient) -> None:
    typed = {"masses": "118,5; 96,2 30,8", "mass_limit": "250", "scale_resolution": "0,1", "decimal": ","}
    page = get(client, "/calculators/mass-margin", **typed)
    assert headline(page) == "4,500 g ± 0,050 g"
    assert page.one("textarea", id="masses")[1] == "118,5; 96,2 30,8"
    wrong = get(client, "/calculators/mass-margin", masses="118", mass_limit="2,5")
    assert "Write a decimal point, not a comma" in wrong.one("p", id="mass_limit-error1")[1]
    mixed = get(client, "/calculators/mass-margin", masses="118", mass_limit="1.250,5", decimal=",")
    assert mixed.one("p", id="mass_limit-error1")


def test_errors_are_shown_beside_their_fields(client: FlaskClient) -> None:
    query = {"cells": "0", "capacity": "lots", "mean_power": "200", "resrve": "1", "utm_source": "club"}
    page = get(client, "/calculators/endurance", **query)
    known = {name: text for name, text in query.items() if name != "utm_source"}
    errors = client.get("/v1/endurance", query_string=known).get_json()["errors"]
    assert len(errors) == 3
    listed = page.one("div", id="errors")[1].lower()
    for error in errors:
        name = error["pointer"][1:]
        assert error["detail"].removesuffix(".").lower() in listed
        if name == "resrve":
            continue
        control = page.one("", id=name)[0]
        assert control["aria-invalid"] == "true"
        assert control["value"] == query[name], "nothing is lost"
        assert f"{name}-error1" in control["aria-describedby"]
        shown = page.one("p", id=f"{name}-error1")[1]
        assert error["detail"].removesuffix(".").lower() in shown.lower()
        assert error["accepted"] in shown
    assert page.one("", id="mean_power")[0]["value"] == "200"
    assert not page.find("img")


def test_a_duplicate_parameter_is_an_error(client: FlaskClient) -> None:
    page = get(client, "/calculators/pack-energy?cells=4&cells=6&capacity=1300")
    assert "Given 2 times" in page.one("p", id="cells-error1")[1]
    assert headline(get(client, "/calculators/pack-energy?cells=6&cells=6&capacity=1300")) == "23.09 Wh"


def test_assumed_values_are_marked(client: FlaskClient) -> None:
    page = get(client, "/calculators/pack-current", cells="6", capacity="1300", pack_power="700")
    found = calculate("pack-current", cells=6, capacity=1300, pack_power=700)
    labels = {attributes.get("for"): text for attributes, text in page.find("label")}
    for name in found["assumed"]:
        field = page.find("input", id=name)
        assert field[0][0]["placeholder"] if field else "(typical)" in page.one("select", id=name)[1]
    resistance = page.one("input", id="cell_resistance")[0]
    assert resistance["placeholder"] == format_number(found["inputs"]["cell_resistance"], 4)
    assert "mΩ" in labels["cell_resistance"]
    assert "placeholder" not in page.one("input", id="pack_power")[0]


def rows(page: Page, table: str) -> int:
    places = {re.match(rf"{table}\.(\d+)\.", a.get("name", "")) for tag in ("input",) for a, _ in page.find(tag)}
    return len({found[1] for found in places if found})


def test_rows_are_renumbered_and_blank_rows_ignored(client: FlaskClient) -> None:
    page = get(client, "/calculators/mass-margin", **PARTS)
    assert headline(page) == "167.2 g ± 0.1 g", "250 - 38.4 - 4 x 11.1, by hand"
    assert rows(page, "parts") == 3, "a blank one is shown again, so that errors keep their rows"
    assert page.one("input", id="parts.1.name")[0]["value"] == "motor"


def test_rows_are_added_and_removed_without_scripts(client: FlaskClient) -> None:
    added = get(client, "/calculators/mass-margin", **PARTS, add="parts")
    assert rows(added, "parts") == 4
    assert added.one("input", id="parts.3.name")[0]["value"] == ""
    assert headline(added) == "167.2 g ± 0.1 g"
    left = get(client, "/calculators/mass-margin", **PARTS, remove="parts.0")
    assert rows(left, "parts") == 2
    assert left.one("input", id="parts.0.name")[0]["value"] == "motor"


def test_buttons_name_a_row_of_their_table(client: FlaskClient) -> None:
    page = get(client, "/calculators/build")
    added = [text for attributes, text in page.find("button", name="add")]
    assert added == ["Add a pack", "Add a propeller", "Add a part", "Add a setup", "Add a flight"]
    assert "Remove pack 2" in [attributes["aria-label"] for attributes, _ in page.find("button", name="remove")]


def test_an_error_in_a_row_is_shown_in_that_row(client: FlaskClient) -> None:
    page = get(client, "/calculators/mass-margin", **{**PARTS, "parts.4.mass": "heavy"})
    assert page.one("input", id="parts.1.mass")[0]["aria-invalid"] == "true"
    assert page.one("input", id="parts.1.mass")[0]["value"] == "heavy"
    assert page.one("p", id="parts.1.mass-error1")
    assert "Parts, row 2, Mass" in page.one("div", id="errors")[1]


def test_an_error_below_a_blank_row_is_shown_in_its_own_row(client: FlaskClient) -> None:
    blank = {"parts.0.mass": "5", "parts.1.mass": "", "parts.2.mass": "abc", "mass_limit": "9"}
    page = get(client, "/calculators/mass-margin", **blank)
    assert "aria-invalid" not in page.one("input", id="parts.1.mass")[0]
    assert page.one("input", id="parts.2.mass")[0]["aria-invalid"] == "true"
    assert "Parts, row 3, Mass" in page.one("div", id="errors")[1]


@pytest.mark.parametrize("mass", ["1.200", "1.250,5", "1.2 kg", "1.200 ± 1"])
def test_a_point_is_invalid_where_a_comma_is_the_decimal_sign(client: FlaskClient, mass: str) -> None:
    """Never a thousandth of what was meant, and never a thousandfold."""
    page = get(client, "/calculators/hover-power", mass=mass, diameter="5", decimal=",")
    assert "A point in a number" in page.one("p", id="mass-error1")[1]
    assert not page.find("p", class_="value")


def test_a_form_with_too_many_fields_is_an_error_and_costs_little(client: FlaskClient) -> None:
    """Many rows and many names: no more than some thousand are read, and few of those that are no inputs."""
    many = {f"parts.{at}.mass": "" for at in range(4000)} | {f"x{at}": "1" for at in range(20000)}
    answer = client.post("/calculators/mass-margin", data=many, headers=BROWSER)
    assert answer.status_code == 200
    assert "fields" in Page(answer.text).one("div", id="errors")[1], "it says that it is too long"
    assert len(answer.data) < 2_000_000
    short = {f"parts{at}": "1" for at in range(2000)}
    assert len(client.post("/calculators/mass-margin", data=short, headers=BROWSER).data) < 100_000


@pytest.mark.parametrize("more", ["", '; filename="flight.csv"'])
def test_a_part_without_a_name_is_ignored(client: FlaskClient, more: str) -> None:
    parts = [f"form-data{more}", 'form-data; name="masses"', 'form-data; name="mass_limit"']
    values = ["nobody's", "100, 120", "250"]
    body = "".join(
        f"--x\r\nContent-Disposition: {part}\r\n\r\n{value}\r\n" for part, value in zip(parts, values, strict=True)
    )
    sent = client.post(
        "/calculators/mass-margin",
        data=f"{body}--x--\r\n",
        content_type="multipart/form-data; boundary=x",
        headers=BROWSER,
    )
    assert headline(Page(sent.text)) == "30.00 g ± 0.41 g"


def test_an_emptied_form_is_not_a_first_visit(client: FlaskClient) -> None:
    page = get(client, "/calculators/endurance", decimal=".")
    listed = page.one("div", id="errors")[1]
    assert "Average power is required" in listed
    assert listed.count("Average power") == 1, "the link is the label"


def test_unknown_parameters_of_a_shared_link_are_ignored(client: FlaskClient) -> None:
    """A name like no input of ours was added by somebody who passed the link on."""
    assert headline(get(client, "/calculators/pack-energy", utm_campaign="x")) == headline(
        get(client, "/calculators/pack-energy")
    )
    shared = get(client, "/calculators/pack-energy", cells="6", capacity="1300", utm_campaign="x")
    assert headline(shared) == "23.09 Wh"


def test_a_recording_is_a_file_or_pasted_text(client: FlaskClient) -> None:
    text = "time [s],voltage [V],current [A]\n" + "".join(f"{at},15.2,{10 + at % 3}\n" for at in range(60))
    pasted = client.post("/calculators/flight-log", data={"log": text, "cells": "4"}, headers=BROWSER)
    file = {"log": (io.BytesIO(text.encode()), "flight.csv"), "cells": "4"}
    sent = client.post("/calculators/flight-log", data=file, headers=BROWSER)
    times = {"time": list(range(60)), "voltage": [15.2] * 60, "current": [10 + at % 3 for at in range(60)]}
    value = calculate("flight-log", log=times, cells=4)["results"]["energy_used"]
    for answer in (pasted, sent):
        assert answer.headers["Cache-Control"] == "no-store"
        shown = headline(Page(answer.text)).split(" ")[0]
        assert float(shown) == pytest.approx(value, abs=0.6 * last_place(shown))
    broken = Page(client.post("/calculators/flight-log", data={"log": "no header here"}, headers=BROWSER).text)
    assert broken.find("p", class_="error")
    assert "no header here" in broken.one("textarea")[1], "nothing is lost"


@pytest.mark.parametrize("path", ["/", "/calculators/mass-margin", "/calculators/mass-margin/frame"])
def test_a_part_holds_only_what_changes(client: FlaskClient, path: str) -> None:
    """The parts that a script exchanges are those of the whole page, byte for byte."""
    query = urlencode({"masses": "100, 120", "mass_limit": "250"})
    whole = client.get(f"{path}?{query}", headers=BROWSER)
    part = client.get(f"{path}?{query}&part=results", headers=BROWSER)
    assert part.status_code == 200
    assert part.headers["ETag"] != whole.headers["ETag"]
    assert part.headers["Content-Security-Policy"] == whole.headers["Content-Security-Policy"]
    assert "<form" not in part.text
    assert "<html" not in part.text
    ids = ["results", *(["next", "working", "reuse"] if path == "/calculators/mass-margin" else [])]
    assert re.findall(r'<section id="(\w+)"', part.text) == ids
    for each in ids:
        pattern = rf'<section id="{each}".*?</section>'
        assert re.findall(pattern, part.text, re.DOTALL) == re.findall(pattern, whole.text, re.DOTALL)
    assert headline(Page(part.text)) == "30.00 g ± 0.41 g"


def test_a_part_has_the_states_of_fields(client: FlaskClient) -> None:
    """What is assumed in the place of an empty field, and what is wrong with one, in a row of a table too."""
    query = {"cells": "6", "capacity": "1300", "pack_power": "700", "part": "results"}
    marks = {a["data-field"]: a["data-assumed"] for a, _ in get(client, "/calculators/pack-current", **query).find("li")
             if "data-field" in a}  # fmt: skip
    found = calculate("pack-current", cells=6, capacity=1300, pack_power=700)
    assert marks["cell_resistance"] == format_number(found["inputs"]["cell_resistance"], 4)
    assert "pack_power" not in marks
    wrong = get(client, "/calculators/mass-margin", **{**PARTS, "parts.4.mass": "heavy"}, part="results")
    assert "Enter a number" in wrong.one("li", data_field="parts.1.mass")[1]
    assert wrong.one("p", id="parts.1.mass-error1")
    assert "Parts, row 2, Mass" in wrong.one("div", id="errors")[1]
    sent = client.post("/calculators/flight-log?part=results", data={"log": "no header here"}, headers=BROWSER)
    assert Page(sent.text).one("li", data_field="log")[1]
    assert sent.headers["Cache-Control"] == "no-store"
