"""Pages for people, as they come without scripts: a form from the declaration, its answer, how to ask again."""

from __future__ import annotations

import base64
import gzip
import hashlib
import html
import io
import json
import re
import subprocess
import sys
from html.parser import HTMLParser
from typing import Any
from urllib.parse import parse_qsl, urlencode, urlsplit

import pytest
from flask.testing import FlaskClient
from markupsafe import Markup

from gramwatt import calculate, extras
from gramwatt.charts import draw
from gramwatt.charts.chart_data import ChartData
from gramwatt.charts.draw import as_svg
from gramwatt.charts.themes import Look
from gramwatt.engine import registry
from gramwatt.engine.messages import InputError, format_number
from gramwatt.model import (
    CATEGORIES,
    Calculator,
    Choice,
    Flag,
    Kind,
    NumberList,
    Quantity,
    Table,
    TimeSeries,
    get_fields,
    is_required,
)
from gramwatt.web.pages import form_reader, views
from gramwatt.web.pages.description import columns_of, described, first_example, takes_files
from gramwatt.web.pages.element import ELEMENT, NEWEST, integrity, versions
from gramwatt.web.pages.fields import Field
from gramwatt.web.pages.fragments import render_once, unit_options

BROWSER = {"Accept": "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"}
CALCULATORS = list(registry.load().values())
every_calculator = pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: calculator.name)
VOID = {"input", "br", "meta", "link", "hr", "img", "source"}
PUBLISHED = {"1.0": "sha384-ccX4iUgjOTwbLRogMfw0m1lyHhDWLTn6C1P99oTMY2Hh+o9HT5GPEZlVx60rSMO+"}


class Page(HTMLParser):
    """A page taken apart: its elements with attributes and the text below them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.texts: list[list[str]] = []
        self._open: list[int] = []
        self.feed(text)
        assert not self._open, [self.elements[at] for at in self._open]

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {name: value or "" for name, value in attributes}))
        self.texts.append([])
        if tag not in VOID:
            self._open.append(len(self.elements) - 1)

    def handle_startendtag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attributes)
        if tag not in VOID:
            self._open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.elements[self._open.pop()][0] == tag, f"</{tag}> closes another"

    def handle_data(self, data: str) -> None:
        for at in self._open:
            self.texts[at].append(data)

    def find(self, tag: str = "", **wanted: str) -> list[tuple[dict[str, str], str]]:
        """Elements of a tag with these attributes (class_ for class), each with its text."""
        wanted = {name.rstrip("_").replace("_", "-"): value for name, value in wanted.items()}
        return [
            (attributes, re.sub(r"\s+", " ", "".join(self.texts[at])).strip())
            for at, (found, attributes) in enumerate(self.elements)
            if (not tag or found == tag)
            and all(value in (attributes.get(n), *attributes.get(n, "").split(" ")) for n, value in wanted.items())
        ]

    def one(self, tag: str = "", **wanted: str) -> tuple[dict[str, str], str]:
        """The only one."""
        (found,) = self.find(tag, **wanted)
        return found


def get(client: FlaskClient, path: str, **query: str) -> Page:
    answer = client.get(path, query_string=query or None, headers=BROWSER)
    assert answer.status_code == 200, answer.text
    assert answer.content_type == "text/html; charset=utf-8"
    return Page(answer.text)


def headline(page: Page) -> str:
    return page.one("p", class_="figure")[1]


def fields(calculator: Calculator[Any, Any]) -> set[str]:
    """Names of the fields that a calculator's form must have, rows of tables aside."""
    return {name for name, kind in calculator.input_fields.items() if not isinstance(kind, Table)}


@every_calculator
def test_every_input_has_a_labelled_field(client: FlaskClient, calculator: Calculator[Any, Any]) -> None:
    page = get(client, f"/calculators/{calculator.name}")
    named = {attributes.get("name") for tag in ("input", "select", "textarea") for attributes, _ in page.find(tag)}
    assert fields(calculator) <= named
    labels = {attributes.get("for"): text for attributes, text in page.find("label")}
    for name, kind in calculator.input_fields.items():
        if isinstance(kind, Table):
            assert page.one("fieldset", id=name)
            continue
        assert labels[name].startswith(name.replace("_", " "))
        hint = page.one("p", id=f"{name}-hint")[1]
        assert re.sub(r"\s+", " ", getattr(kind, "description", "")) in hint
        control = page.one("", id=name)[0]
        assert f"{name}-hint" in control["aria-describedby"]
        quantity = kind.item if isinstance(kind, NumberList) else kind
        if isinstance(quantity, Choice):
            options = [text for attributes, text in page.find("option") if "value" not in attributes]
            assert set(quantity.options) <= set(options)
    ids = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
    assert len(ids) == len(set(ids))


@every_calculator
def test_it_opens_with_an_example_and_its_answer(client: FlaskClient, calculator: Calculator[Any, Any]) -> None:
    """What stands there is what the library answers to the same example, to the digits shown."""
    page = get(client, f"/calculators/{calculator.name}")
    example = first_example(calculator)
    given: dict[str, Any] = dict(example.given)
    found = calculate(calculator.name, **given)
    value = found["results"][calculator.headline]
    shown, _, width = headline(page).replace("−", "-").partition("±")
    number = shown.split(" ")[0]
    half = 0.6 * _last_place(number)
    if width:  # it has the digits that its uncertainty bears, two of them
        half = max(half, 0.06 * float(width.split()[0]))
    assert float(number) == pytest.approx(value, abs=half)
    for name, kind in calculator.input_fields.items():
        if name in example.given and isinstance(kind, Quantity):
            number, _, unit = str(example.given[name]).partition(" ")
            assert page.one("input", id=name)[0]["value"] == number
            if unit:
                chosen = page.one("select", name=f"{name}.unit")[1].split(" ")
                assert unit in chosen
    for caution in found["cautions"]:
        if "results" not in caution:
            assert caution["text"] in page.one("section", id="answer")[1]
    for reference in calculator.references:
        assert re.sub(r"\s+", " ", reference.text) in page.one("section", id="working")[1]
    assert page.one("img")[0]["alt"]


@every_calculator
def test_required_inputs_stand_first(client: FlaskClient, calculator: Calculator[Any, Any]) -> None:
    """And those of which at least one must be given, and those of the example; nothing else does."""
    page = get(client, f"/calculators/{calculator.name}")
    order = [(tag, attributes.get("id")) for tag, attributes in page.elements]
    rest = next((at for at, (tag, _) in enumerate(order) if tag == "details"), len(order))
    first = {name for _, name in order[:rest] if name in calculator.input_fields}
    needed = {name for name, kind in calculator.input_fields.items() if is_required(kind)}
    needed |= {name for group in calculator.any_of for name in group}
    assert first == needed | set(first_example(calculator).given)


def test_the_largest_causes_of_an_uncertainty_are_named(client: FlaskClient) -> None:
    """JCGM 100, 5.1: of a quotient the relative variances add, so 1 % of capacity and r of mass share as 1 to r^2. By
    hand: r = 0.2459 % is 5.7 % of the variance, which is named, and r = 0.2171 % is 4.5 %, which is not."""
    by_mass = {}
    for mass_u in ("0.4917", "0.4342"):
        page = get(client, "/calculators/pack-energy", cells="6", capacity="1300 ± 13", pack_mass=f"200 ± {mass_u}")
        by_mass[mass_u] = [text for _, text in page.find("span", class_="causes")]
    assert "± from capacity 94 %, pack mass 6 %" in by_mass["0.4917"]
    assert set(by_mass["0.4342"]) == {"± from capacity 100 %", "± from capacity 95 %"}


def _last_place(text: str) -> float:
    return float(10 ** -len(text.partition(".")[2])) if "." in text else 1.0


@every_calculator
def test_a_page_is_light(client: FlaskClient, calculator: Calculator[Any, Any]) -> None:
    """With its style sheet and script under 100 kB, as a proxy sends them (gzip)."""
    parts = [client.get(f"/calculators/{calculator.name}", headers=BROWSER).data]
    for name in ("sheet.css", "sheet.js", "mark.svg"):
        with client.get(f"/static/{name}") as file:
            parts.append(file.get_data())
    assert sum(len(gzip.compress(part)) for part in parts) < 100_000


@every_calculator
def test_nothing_comes_from_elsewhere(client: FlaskClient, calculator: Calculator[Any, Any]) -> None:
    answer = client.get(f"/calculators/{calculator.name}", headers=BROWSER)
    page = Page(answer.text)
    for tag, attributes in page.elements:
        assert "style" not in attributes
        assert not any(name.startswith("on") for name in attributes)
        assert tag != "style"
        if tag in ("script", "link", "img", "iframe"):
            assert (attributes.get("src") or attributes["href"]).startswith("/")
    assert all(attributes.get("src") for attributes, _ in page.find("script"))
    policy = answer.headers["Content-Security-Policy"]
    assert "unsafe" not in policy
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'self'" in policy
    framed = client.get(f"/calculators/{calculator.name}/frame", headers=BROWSER)
    assert "frame-ancestors *" in framed.headers["Content-Security-Policy"]


@every_calculator
def test_a_form_sent_as_it_stands_asks_the_same(client: FlaskClient, calculator: Calculator[Any, Any]) -> None:
    """As a browser without scripts sends it: every field, empty or not, with the units beside."""
    first = get(client, f"/calculators/{calculator.name}")
    sent = form_data(first)
    if takes_files(calculator):
        answer = client.post(f"/calculators/{calculator.name}", data=sent, headers=BROWSER)
        again = Page(answer.text)
    else:
        again = get(client, f"/calculators/{calculator.name}", **sent)
    assert headline(again) == headline(first)
    assert not again.find("p", class_="fault")
    assert {k: v for k, v in form_data(again).items() if v} == {k: v for k, v in sent.items() if v}


def form_data(page: Page) -> dict[str, str]:
    """What a form would send, its rows of templates aside."""
    data: dict[str, str] = {}
    inside: str | None = None
    for at, (tag, attributes) in enumerate(page.elements):
        name = attributes.get("name", "")
        if "#" in name or (tag == "input" and attributes.get("type") == "file"):
            inside = None
            continue
        if tag == "input" and name:
            data[name] = attributes.get("value", "")
        elif tag == "textarea":
            data[name] = html.unescape("".join(page.texts[at]))
        elif tag == "select":
            inside = name
        elif tag == "option" and inside:
            value = attributes.get("value", "".join(page.texts[at]).strip())
            if inside not in data or "selected" in attributes:
                data[inside] = value
    return data


@pytest.mark.parametrize(
    ("query", "question"),
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
def test_units_and_decimals_beside_a_number(
    client: FlaskClient, query: dict[str, str], question: dict[str, Any]
) -> None:
    page = get(client, "/calculators/pack-energy", cells="6", **query)
    found = calculate("pack-energy", cells=6, **question)["results"]["usable_energy"]
    shown = headline(page).split(" ")[0].replace(",", ".")
    assert float(shown) == pytest.approx(found, abs=0.6 * _last_place(shown))


def test_a_decimal_comma_goes_both_ways(client: FlaskClient) -> None:
    typed = {"masses": "118,5; 96,2 30,8", "limit": "250", "resolution": "0,1", "decimal": ","}
    page = get(client, "/calculators/mass-margin", **typed)
    assert headline(page) == "4,5 g"
    assert page.one("textarea", id="masses")[1] == "118,5; 96,2 30,8"
    wrong = get(client, "/calculators/mass-margin", masses="118", limit="2,5")
    assert "a comma in a number; write a decimal point" in wrong.one("p", id="limit-fault1")[1]
    mixed = get(client, "/calculators/mass-margin", masses="118", limit="1.250,5", decimal=",")
    assert mixed.one("p", id="limit-fault1")


def test_results_in_other_units(client: FlaskClient) -> None:
    page = get(client, "/calculators/pack-energy", cells="6", capacity="1300", **{"units.usable_energy": "kJ"})
    assert headline(page) == "83.117 kJ"
    linked = get(client, "/calculators/pack-energy", cells="6", capacity="1300", units="usable_energy:kJ")
    assert headline(linked) == "83.117 kJ"
    wrong = get(client, "/calculators/pack-energy", cells="6", capacity="1300", units="usable_energy:kg")
    assert "usable_energy can be had in" in wrong.one("div", id="wrong")[1]


def test_faults_stand_beside_their_fields_in_the_service_s_words(client: FlaskClient) -> None:
    query = {"cells": "0", "capacity": "lots", "power": "200", "resrve": "1", "utm_source": "club"}
    page = get(client, "/calculators/endurance", **query)
    asked = {name: word for name, word in query.items() if name != "utm_source"}
    told = client.get("/v1/endurance", query_string=asked).get_json()["errors"]
    assert len(told) == 3
    listed = page.one("div", id="wrong")[1]
    for error in told:
        name = error["pointer"][1:]
        assert error["detail"].removesuffix(".") in listed
        if name == "resrve":
            continue
        control = page.one("", id=name)[0]
        assert control["aria-invalid"] == "true"
        assert control["value"] == query[name], "nothing is lost"
        assert f"{name}-fault1" in control["aria-describedby"]
        said = page.one("p", id=f"{name}-fault1")[1]
        assert error["detail"] in said
        assert error["accepted"] in said
    assert page.one("", id="power")[0]["value"] == "200"
    assert not page.find("img")


def test_a_name_given_twice_is_said(client: FlaskClient) -> None:
    page = get(client, "/calculators/pack-energy?cells=4&cells=6&capacity=1300")
    assert "given 2 times" in page.one("p", id="cells-fault1")[1]
    assert headline(get(client, "/calculators/pack-energy?cells=6&cells=6&capacity=1300")) == "23.088 Wh"


def test_what_was_assumed_is_marked(client: FlaskClient) -> None:
    page = get(client, "/calculators/pack-current", cells="6", capacity="1300", power="700")
    found = calculate("pack-current", cells=6, capacity=1300, power=700)
    labels = {attributes.get("for"): text for attributes, text in page.find("label")}
    for name in found["assumed"]:
        assert "assumed" in labels[name] or "(assumed)" in page.one("select", id=name)[1]
    resistance = page.one("input", id="cell_resistance")[0]
    assert resistance["placeholder"] == f"{format_number(found['given']['cell_resistance'], 6)} mohm"
    assert "assumed" not in labels["power"]


PARTS = {
    "parts.0.name": "frame",
    "parts.0.mass": "38.4",
    "parts.4.name": "motor",
    "parts.4.mass": "11.1",
    "parts.4.count": "4",
    "parts.5.name": "",
    "parts.5.mass": "",
    "limit": "250",
    "resolution": "0.1",
}


def rows(page: Page, table: str) -> int:
    places = {re.match(rf"{table}\.(\d+)\.", a.get("name", "")) for tag in ("input",) for a, _ in page.find(tag)}
    return len({found[1] for found in places if found})


def test_rows_are_numbered_anew_and_blank_ones_left_out(client: FlaskClient) -> None:
    page = get(client, "/calculators/mass-margin", **PARTS)
    assert headline(page) == "167.2 g", "250 - 38.4 - 4 x 11.1, by hand"
    assert rows(page, "parts") == 3, "a blank one is shown again, so that faults keep their rows"
    assert page.one("input", id="parts.1.name")[0]["value"] == "motor"


def test_rows_are_added_and_taken_out_without_scripts(client: FlaskClient) -> None:
    added = get(client, "/calculators/mass-margin", **PARTS, add="parts")
    assert rows(added, "parts") == 4
    assert added.one("input", id="parts.3.name")[0]["value"] == ""
    assert headline(added) == "167.2 g"
    left = get(client, "/calculators/mass-margin", **PARTS, remove="parts.0")
    assert rows(left, "parts") == 2
    assert left.one("input", id="parts.0.name")[0]["value"] == "motor"


def test_a_fault_in_a_row_stands_in_it(client: FlaskClient) -> None:
    page = get(client, "/calculators/mass-margin", **{**PARTS, "parts.4.mass": "heavy"})
    assert page.one("input", id="parts.1.mass")[0]["aria-invalid"] == "true"
    assert page.one("input", id="parts.1.mass")[0]["value"] == "heavy"
    assert page.one("p", id="parts.1.mass-fault1")
    assert "parts, row 2, mass" in page.one("div", id="wrong")[1]


def test_a_fault_below_a_blank_row_stands_in_its_own(client: FlaskClient) -> None:
    blank = {"parts.0.mass": "5", "parts.1.mass": "", "parts.2.mass": "abc", "limit": "9"}
    page = get(client, "/calculators/mass-margin", **blank)
    assert "aria-invalid" not in page.one("input", id="parts.1.mass")[0]
    assert page.one("input", id="parts.2.mass")[0]["aria-invalid"] == "true"
    assert "parts, row 3, mass" in page.one("div", id="wrong")[1]


@pytest.mark.parametrize("mass", ["1.200", "1.250,5", "1.2 kg", "1.200 ± 1"])
def test_a_point_is_refused_where_a_comma_is_the_decimal_sign(client: FlaskClient, mass: str) -> None:
    """Never a thousandth of what was meant, and never a thousandfold."""
    page = get(client, "/calculators/hover-power", mass=mass, diameter="5", decimal=",")
    assert "a point in a number" in page.one("p", id="mass-fault1")[1]
    assert not page.find("p", class_="figure")


def test_a_form_too_long_is_told_and_costs_little(client: FlaskClient) -> None:
    """Many rows and many names: no more than some thousand are read, and few of those that are no inputs."""
    many = {f"parts.{at}.mass": "" for at in range(4000)} | {f"x{at}": "1" for at in range(20000)}
    answer = client.post("/calculators/mass-margin", data=many, headers=BROWSER)
    assert answer.status_code == 200
    assert "fields" in Page(answer.text).one("div", id="wrong")[1], "it says that it is too long"
    assert len(answer.data) < 2_000_000
    short = {f"parts{at}": "1" for at in range(2000)}
    assert len(client.post("/calculators/mass-margin", data=short, headers=BROWSER).data) < 100_000


@pytest.mark.parametrize("more", ["", '; filename="flight.csv"'])
def test_a_part_without_a_name_is_passed_over(client: FlaskClient, more: str) -> None:
    parts = [f"form-data{more}", 'form-data; name="masses"', 'form-data; name="limit"']
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
    assert headline(Page(sent.text)) == "30 g"


def test_a_form_whose_fields_were_emptied_is_no_first_visit(client: FlaskClient) -> None:
    page = get(client, "/calculators/endurance", decimal=".")
    assert "power is required" in page.one("div", id="wrong")[1]


def test_what_a_link_was_shared_with_changes_nothing(client: FlaskClient) -> None:
    """A name like no input of ours was added by somebody who passed the link on."""
    assert headline(get(client, "/calculators/pack-energy", utm_campaign="x")) == headline(
        get(client, "/calculators/pack-energy")
    )
    shared = get(client, "/calculators/pack-energy", cells="6", capacity="1300", utm_campaign="x")
    assert headline(shared) == "23.088 Wh"


def test_a_unit_of_a_result_is_kept(client: FlaskClient) -> None:
    """In every link and piece of code, and while there is no answer."""
    query = {"cells": "6", "capacity": "1300", "power": "200", "units.endurance": "s"}
    answer = client.get("/calculators/endurance", query_string=query, headers=BROWSER, base_url="http://here.example")
    page = Page(answer.text)
    pieces = code(page)
    seconds = calculate("endurance", cells=6, capacity=1300, power=200, units={"endurance": "s"})["results"][
        "endurance"
    ]
    cell = urlsplit(pieces["The address of that value"])
    assert float(client.get(f"{cell.path}?{cell.query}").text) == seconds
    assert "units=endurance:s" in pieces["curl"]
    assert "units=endurance:s" in pieces["Python"]
    links = [a["href"] for a, text in page.find("a") if text in ("SVG", "PNG", "Text", "CSV")]
    assert len(links) == 4
    assert all(
        "units=endurance:s" in each for each in (*links, page.one("img")[0]["src"], page.one("source")[0]["srcset"])
    )
    wrong = get(client, "/calculators/endurance", **{**query, "power": "abc"})
    assert wrong.one("input", name="units.endurance")[0]["value"] == "s"


SOURCES = ("wide", "img", "src"), ("narrow", "source", "srcset")


@every_calculator
def test_the_chart_is_an_image_from_an_address_of_its_own(
    client: FlaskClient, calculator: Calculator[Any, Any]
) -> None:
    """The page does not wait for it, and leaves the room that the chart at that address takes. Anybody may cache it."""
    page = get(client, f"/calculators/{calculator.name}")
    assert not page.find("svg")
    for shape, tag, attribute in SOURCES:
        element, _ = page.one(tag)
        answer = client.get(element[attribute], headers={"Accept": "image/avif,image/webp,image/svg+xml,*/*;q=0.8"})
        assert (answer.status_code, answer.content_type) == (200, "image/svg+xml"), shape
        drawn = Page(answer.text).one("svg")[0]
        assert (drawn["width"], drawn["height"]) == (element["width"], element["height"])
        assert answer.headers["Cache-Control"] == "public, max-age=3600"
        again = client.get(element[attribute], headers={"If-None-Match": answer.headers["ETag"]})
        assert again.status_code == 304
        assert again.headers["Content-Security-Policy"] == answer.headers["Content-Security-Policy"]
        assert "prefers-color-scheme" in answer.text
    image, _ = page.one("img")
    assert image["loading"] == "lazy"
    assert image["alt"].endswith(".")
    assert page.one("source")[0]["media"] == "(max-width: 36rem)"


def test_a_page_computes_no_picture(monkeypatch: pytest.MonkeyPatch, client: FlaskClient) -> None:
    """Neither its drawing nor the points of its curve."""

    def never(*_: object, **__: object) -> None:
        raise AssertionError("a page drew a chart")

    monkeypatch.setattr("gramwatt.charts.draw.as_svg", never)
    monkeypatch.setattr("gramwatt.charts.calculator_charts.points", never)
    for calculator in CALCULATORS:
        assert get(client, f"/calculators/{calculator.name}").find("picture")


def test_a_form_s_chart_says_what_is_wrong(client: FlaskClient) -> None:
    """The address of a chart with rows of tables is a form's."""
    url = "/calculators/mass-margin/chart"
    drawn = client.get(url, query_string={**PARTS, "shape": "narrow"})
    assert "frame to 38.4 g; motor × 4 to 82.8 g" in drawn.text
    wrong = client.get(url, query_string={**PARTS, "parts.4.mass": "heavy"})
    assert (wrong.status_code, wrong.mimetype) == (422, "application/problem+json")
    assert [error["pointer"] for error in wrong.get_json()["errors"]] == ["/parts/1/mass"]
    twice = client.get(f"{url}?limit=250&limit=300&masses=1")
    assert [error["pointer"] for error in twice.get_json()["errors"]] == ["/limit"]
    assert client.get("/calculators/endurence/chart").status_code == 404
    nothing = client.get("/calculators/endurance/chart", query_string={"cells": 6, "capacity": 1300, "power": 90000})
    assert (nothing.status_code, nothing.get_json()["type"]) == (404, "/problems/no-answer")


def inline(page: Page) -> str:
    """The chart that stands in the page itself."""
    assert not page.find("source")
    kind, _, data = page.one("img")[0]["src"].partition(",")
    assert kind == "data:image/svg+xml;base64"
    return base64.b64decode(data).decode()


def test_a_chart_whose_inputs_no_address_can_hold_stands_in_the_page(
    monkeypatch: pytest.MonkeyPatch, client: FlaskClient
) -> None:
    """Drawn once, in the shape that fits."""
    shapes: list[str] = []

    def counted(sheet: ChartData, look: Look) -> bytes:
        shapes.append(look.shape)
        return as_svg(sheet, look)

    monkeypatch.setattr(draw, "as_svg", counted)
    text = "time,voltage,current\n" + "".join(f"{at},15.2,{10 + at % 3}\n" for at in range(60))
    for shape in ("wide", "narrow"):
        sent = client.post("/calculators/flight-log", data={"log": text, "shape": shape}, headers=BROWSER)
        page = Page(sent.text)
        drawn = Page(inline(page))
        assert "current in A" in " ".join(word for _, word in drawn.find("text"))
        assert drawn.one("svg")[0]["width"] == page.one("img")[0]["width"]
        assert drawn.one("desc")[1] == page.one("img")[0]["alt"]
    many = {f"parts.{at}.name": "a long name" * 6 for at in range(110)} | {f"parts.{at}.mass": "1" for at in range(110)}
    long = client.post("/calculators/mass-margin", data={**many, "limit": "250"}, headers=BROWSER)
    assert headline(Page(long.text)) == "140 g"
    assert "limit 250 g" in inline(Page(long.text))
    assert shapes == ["wide", "narrow", "wide"]


def test_without_matplotlib_there_is_all_but_the_chart(monkeypatch: pytest.MonkeyPatch, client: FlaskClient) -> None:
    """A page says so in one sentence; the address of a chart says what to install; its words need no drawing."""
    before = get(client, "/calculators/pack-energy", cells="6", capacity="1300")
    monkeypatch.setattr(views, "can_draw", lambda: False)
    monkeypatch.setattr(extras, "require", lambda library, **more: absent(library, **more))
    page = get(client, "/calculators/pack-energy", cells="6", capacity="1300")
    assert headline(page) == headline(before)
    assert not page.find("picture")
    assert "This service draws no charts" in page.one("section", id="answer")[1]
    for url in (before.one("img")[0]["src"], "/calculators/mass-margin/chart"):
        refused = client.get(url)
        assert (refused.status_code, refused.get_json()["type"]) == (501, "/problems/not-installed")
        assert "pip install 'gramwatt[charts]'" in refused.get_json()["detail"]
    words = client.get("/v1/pack-energy/chart?cells=6&capacity=1300&format=txt")
    assert (words.status_code, words.mimetype) == (200, "text/plain")


def absent(library: str, *, extra: str, purpose: str) -> None:
    raise extras.MissingExtra(library, extra, purpose)


@pytest.mark.parametrize("path", ["/", "/calculators/mass-margin", "/calculators/mass-margin/frame"])
def test_a_script_fetches_what_changes_and_nothing_else(client: FlaskClient, path: str) -> None:
    """The parts that a script exchanges are those of the whole page, byte for byte."""
    query = urlencode({"masses": "100, 120", "limit": "250"})
    whole = client.get(f"{path}?{query}", headers=BROWSER)
    part = client.get(f"{path}?{query}&part=answer", headers=BROWSER)
    assert part.status_code == 200
    assert part.headers["ETag"] != whole.headers["ETag"]
    assert part.headers["Content-Security-Policy"] == whole.headers["Content-Security-Policy"]
    assert "<form" not in part.text
    assert "<html" not in part.text
    ids = ("answer", "working", "elsewhere") if path == "/calculators/mass-margin" else ("answer",)
    assert re.findall(r'<section id="(\w+)"', part.text) == list(ids)
    for each in ids:
        pattern = rf'<section id="{each}".*?</section>'
        assert re.findall(pattern, part.text, re.DOTALL) == re.findall(pattern, whole.text, re.DOTALL)
    assert headline(Page(part.text)) == "30 g"


def test_a_part_marks_the_fields_that_stay(client: FlaskClient) -> None:
    """What is assumed in the place of an empty field, and what is wrong with one, in a row of a table too."""
    query = {"cells": "6", "capacity": "1300", "power": "700", "part": "answer"}
    marks = {a["data-field"]: a["data-assumed"] for a, _ in get(client, "/calculators/pack-current", **query).find("li")
             if "data-field" in a}  # fmt: skip
    found = calculate("pack-current", cells=6, capacity=1300, power=700)
    assert marks["cell_resistance"] == f"{format_number(found['given']['cell_resistance'], 6)} mohm"
    assert "power" not in marks
    wrong = get(client, "/calculators/mass-margin", **{**PARTS, "parts.4.mass": "heavy"}, part="answer")
    assert "not a number" in wrong.one("li", data_field="parts.1.mass")[1]
    assert wrong.one("p", id="parts.1.mass-fault1")
    assert "parts, row 2, mass" in wrong.one("div", id="wrong")[1]
    sent = client.post("/calculators/flight-log?part=answer", data={"log": "no header here"}, headers=BROWSER)
    assert Page(sent.text).one("li", data_field="log")[1]
    assert sent.headers["Cache-Control"] == "no-store"


def test_packs_are_compared_in_a_table_and_a_picture(client: FlaskClient) -> None:
    page = get(client, "/calculators/build")
    calculator = registry.load()["build"]
    given: dict[str, Any] = dict(first_example(calculator).given)
    found = calculate("build", **given)["results"]["by_pack"]
    table = page.one("table", class_="upright")[1]
    for row in found:
        assert row["name"] in table
    assert "endurance" in table
    (row, *_) = found
    drawn = client.get(page.one("img")[0]["src"]).text
    assert "endurance in min" in drawn
    assert row["name"] in drawn
    assert f"{row['name']}: endurance " in page.one("img")[0]["alt"]


def test_a_recording_is_sent_as_a_file_or_as_text(client: FlaskClient) -> None:
    text = "time [s],voltage [V],current [A]\n" + "".join(f"{at},15.2,{10 + at % 3}\n" for at in range(60))
    pasted = client.post("/calculators/flight-log", data={"log": text, "cells": "4"}, headers=BROWSER)
    file = {"log": (io.BytesIO(text.encode()), "flight.csv"), "cells": "4"}
    sent = client.post("/calculators/flight-log", data=file, headers=BROWSER)
    times = {"time": list(range(60)), "voltage": [15.2] * 60, "current": [10 + at % 3 for at in range(60)]}
    value = calculate("flight-log", log=times, cells=4)["results"]["energy"]
    for answer in (pasted, sent):
        assert answer.headers["Cache-Control"] == "no-store"
        shown = headline(Page(answer.text)).split(" ")[0]
        assert float(shown) == pytest.approx(value, abs=0.6 * _last_place(shown))
    broken = Page(client.post("/calculators/flight-log", data={"log": "no header here"}, headers=BROWSER).text)
    assert broken.find("p", class_="fault")
    assert "no header here" in broken.one("textarea")[1], "nothing is lost"


def test_a_long_table_is_cut_and_says_so(client: FlaskClient) -> None:
    text = "time,voltage,current\n" + "".join(f"{at},15,10\n" for at in range(20))
    answer = client.post("/calculators/overlay-cues", data={"log": text}, headers=BROWSER)
    assert re.search(r"And \d{3} more rows", answer.text)
    assert len(answer.data) < 200_000


def test_text_is_never_markup(client: FlaskClient) -> None:
    evil = "\"><script>alert(1)</script><b onx='"
    for query in ({"parts.0.name": evil, "parts.0.mass": "5", "limit": "9"}, {"limit": evil}, {evil: evil}):
        answer = client.get("/calculators/mass-margin", query_string=query, headers=BROWSER)
        assert "<script>alert" not in answer.text
        Page(answer.text)


def test_the_first_page(client: FlaskClient) -> None:
    page = get(client, "/")
    text = page.one("section", id="calculators")[1]
    for title in CATEGORIES.values():
        assert title in text
    for calculator in CALCULATORS:
        assert page.find("a", href=f"/calculators/{calculator.name}")
    assert headline(page) == "4.5 g", "118.5 + 96.2 + 30.8 = 245.5 g of 250, by hand"
    other = get(client, "/", masses="100, 160", limit="250")
    assert headline(other) == "−10 g"


def test_an_unknown_calculator_is_a_page_for_people_and_a_problem_for_programs(client: FlaskClient) -> None:
    answer = client.get("/calculators/endurence", headers=BROWSER)
    assert (answer.status_code, answer.mimetype) == (404, "text/html")
    assert "endurance" in answer.text
    told = client.get("/calculators/endurence")
    assert (told.status_code, told.mimetype) == (404, "application/problem+json")


def test_a_page_is_sent_again_only_when_it_changed(client: FlaskClient) -> None:
    url = "/calculators/pack-energy?cells=6&capacity=1300"
    first = client.get(url, headers=BROWSER)
    tag = first.headers["ETag"]
    assert not tag.startswith("W/"), "the same bytes as long as code, host and address are the same"
    assert first.headers["Cache-Control"] == "no-cache"
    again = client.get(url, headers={**BROWSER, "If-None-Match": tag})
    assert (again.status_code, again.data) == (304, b"")
    assert again.headers["Content-Security-Policy"] == first.headers["Content-Security-Policy"], "browsers take it over"
    other = client.get(url, headers={**BROWSER, "If-None-Match": tag}, base_url="http://elsewhere.example")
    assert other.status_code == 200
    assert "elsewhere.example" in other.text
    assert "elsewhere.example" not in client.get(url, headers=BROWSER).text, "nobody's page is kept for another"


@every_calculator
def test_the_description_for_programs(client: FlaskClient, calculator: Calculator[Any, Any]) -> None:
    told = client.get(f"/calculators/{calculator.name}").get_json()
    assert told == json.loads(json.dumps(dict(described(calculator))))
    assert [each["name"] for each in told["inputs"]] == list(calculator.input_fields)
    assert [each["name"] for each in told["results"]] == list(calculator.result_fields)
    kinds = {each["kind"] for each in (*told["inputs"], *told["results"])}
    assert kinds <= {"quantity", "count", "choice", "flag", "text", "series", "table", "samples"}, (
        "as 1.0.js reads them"
    )
    answer = client.post(f"/v1/{calculator.name}", json=told["example"])
    assert answer.status_code == 200


# -- asking again from elsewhere -------------------------------------------------------------------------------------


def code(page: Page) -> dict[str, str]:
    """The pieces of code of a page by their titles, as they would be copied."""
    titles = [text for attributes, text in page.find("h3") if attributes.get("id", "").startswith("code-")]
    found = [at for at, (tag, _) in enumerate(page.elements) if tag == "code" and page.elements[at - 1][0] == "pre"]
    pieces = ["".join(page.texts[at]) for at in found]
    return dict(zip(titles, pieces, strict=True))


@every_calculator
def test_code_to_copy_gives_the_same_answer(
    client: FlaskClient, live: str, calculator: Calculator[Any, Any], tmp_path: Any
) -> None:
    """Each piece is really run against the service: the cell's address, the shell's command, Python, the picture."""
    answer = client.get(f"/calculators/{calculator.name}", headers=BROWSER, base_url=live)
    pieces = code(Page(answer.text))
    if not pieces:
        assert calculator.name == "flight-comparison", "recordings in a table"
        return
    example: dict[str, Any] = dict(first_example(calculator).given)
    expected = calculate(calculator.name, **example)["results"][calculator.headline]
    if calculator.recording:
        log = example[calculator.recording]
        (tmp_path / "flight.csv").write_text(form_reader.typed(calculator.input_fields[calculator.recording], log))
    environment = {"PATH": "/usr/bin:/bin", "no_proxy": "*"}
    shell = subprocess.run(
        ["sh", "-c", pieces["curl"]], capture_output=True, check=True, cwd=tmp_path, env=environment, timeout=60
    )
    assert json.loads(shell.stdout)["results"][calculator.headline] == pytest.approx(expected, rel=1e-9)
    if "Python" in pieces:
        command = [sys.executable, "-c", pieces["Python"]]
        ran = subprocess.run(command, capture_output=True, check=True, text=True, env=environment, timeout=60)
        assert ran.stdout.strip() == str(expected)
    if "The address of that value" in pieces:
        address = urlsplit(pieces["The address of that value"])
        assert len(pieces["The address of that value"]) < 2048
        assert client.get(f"{address.path}?{address.query}").text == format_number(expected) or isinstance(
            expected, str
        )
        assert pieces["The address of that value"] in pieces["A cell of a spreadsheet"]
        picture = urlsplit(pieces["The picture"])
        assert client.get(f"{picture.path}?{picture.query}").mimetype == "image/png"
    if "On a page of your own" in pieces:
        element = Page(pieces["On a page of your own"])
        script = element.one("script")[0]
        assert script["src"] == f"{live}/gramwatt-{NEWEST}.js"
        assert script["integrity"] == integrity(NEWEST)
        given = {n: v for n, v in element.one("gramwatt-calculator")[0].items() if n != "name"}
        assert set(given) == set(example)
        frame = urlsplit(element.one("iframe")[0]["src"])
        assert headline(get(client, frame.path, **dict(parse_qsl(frame.query)))) == headline(Page(answer.text))


# -- the element's script --------------------------------------------------------------------------------------------


def test_a_published_version_of_the_element_never_changes() -> None:
    """Pages hold its digest: to change it, add a file with a new version, and its digest here."""
    assert {version: integrity(version) for version in versions()} == PUBLISHED
    assert versions()[-1] == NEWEST


def test_the_element_by_version_and_newest(client: FlaskClient) -> None:
    fixed, newest = client.get(f"/gramwatt-{NEWEST}.js"), client.get("/gramwatt.js")
    assert fixed.data == newest.data == (ELEMENT / f"{NEWEST}.js").read_bytes()
    assert fixed.headers["Cache-Control"] == "public, max-age=31536000, immutable"
    assert newest.headers["Cache-Control"] == "public, max-age=3600"
    for answer in (fixed, newest):
        assert answer.mimetype == "text/javascript"
        assert answer.headers["Access-Control-Allow-Origin"] == "*", "integrity needs it"
        assert answer.headers["Cross-Origin-Resource-Policy"] == "cross-origin"
    digest = base64.b64encode(hashlib.sha384(fixed.data).digest()).decode()
    told = client.get("/v1").get_json()["element"]
    assert told == {"script": f"/gramwatt-{NEWEST}.js", "integrity": f"sha384-{digest}"}
    assert client.get("/gramwatt-0.0.js").status_code == 404
    assert client.get("/gramwatt-../sheet.js").status_code == 404


# -- reading a form --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "word", "unit", "decimal", "value"),
    [
        (Quantity("g", "", above=0, at_most=9), "12", "g", ".", 12),
        (Quantity("g", "", above=0, at_most=9), "1e2", "", ".", 100.0),
        (Quantity("g", "", above=0, at_most=9), "2", "lb", ".", "2 lb"),
        (Quantity("g", "", above=0, at_most=9), "2 oz", "lb", ".", "2 oz"),
        (Quantity("g", "", above=0, at_most=9), "nonsense", "lb", ".", "nonsense"),
        (Flag(""), "true", "", ".", True),
        (Flag(""), "false", "", ".", False),
        (Flag(""), "maybe", "", ".", "maybe"),
        (NumberList(Quantity("g", "", above=0, at_most=9), ""), "1, 2\n3;4", "", ".", [1, 2, 3, 4]),
        (NumberList(Quantity("g", "", above=0, at_most=9), ""), "1,5 2,5; 3", "", ",", [1.5, 2.5, 3]),
        (NumberList(Quantity("g", "", above=0, at_most=9), ""), "1, 2", "oz", ".", ["1 oz", "2 oz"]),
    ],
    ids=lambda case: str(case)[:30],
)
def test_a_typed_word(kind: Kind, word: str, unit: str, decimal: str, value: object) -> None:
    found = form_reader.value(kind, word, unit, decimal)
    assert found == value
    assert type(found) is type(value)


@every_calculator
def test_an_example_typed_and_read_is_the_example(calculator: Calculator[Any, Any]) -> None:
    """Whatever the decimal sign."""
    for example in calculator.examples:
        for decimal in (".", ","):
            form = form_reader.shown(calculator, example.given, decimal)
            again = form_reader.read(calculator, dict(parse_qsl(urlencode(form_reader.query_of(form)))), {})
            for name, given in example.given.items():
                kind = calculator.input_fields[name]
                if isinstance(kind, TimeSeries):
                    assert again.question[name].rows == len(next(iter(given.values())))  # type: ignore[attr-defined]
                elif isinstance(kind, Table):
                    assert [set(row) for row in again.question[name]] == [
                        {each for each in row if each in columns_of(kind) and each in get_fields(kind.row)}
                        for row in given  # type: ignore[attr-defined]
                    ]
                else:
                    found = again.question[name]
                    assert found == given or f"{found} {getattr(kind, 'unit', '')}" == given


# -- fragments that are rendered once --------------------------------------------------------------------------------


def test_a_field_is_rendered_once_for_each_of_its_states() -> None:
    """Whatever shows in it makes another one; a fault, or a long text, is never cached."""
    about, calls = {"kind": "text"}, []

    class Macro:
        name = "single"

        def __call__(self, shown: Field) -> Markup:
            calls.append(shown)
            return Markup(f"{shown.key}={shown.value}{shown.unit}{shown.assumed}")

    states = [
        Field("a", about),
        Field("b", about),
        Field("a", dict(about)),
        Field("a", about, value="1"),
        Field("a", about, unit="g"),
        Field("a", about, assumed="2"),
    ]
    for _ in range(2):
        assert [render_once(Macro(), state) for state in states] == ["a=", "b=", "a=", "a=1", "a=g", "a=2"]
    assert calls == states
    for state in (
        Field("a", about, errors=(InputError("/a", "wrong", None, "right"),)),
        Field("a", about, value="9" * 101),
    ):
        assert render_once(Macro(), state) == render_once(Macro(), state)
    assert len(calls) == len(states) + 4


def test_the_options_of_a_menu_of_units() -> None:
    assert unit_options(("g", "a<b"), "g") == "<option selected>g</option>\n<option>a&lt;b</option>\n"
    assert (
        unit_options(("g", "kg"), "kg", "g") == '<option value="">g</option>\n<option value="kg" selected>kg</option>\n'
    )
