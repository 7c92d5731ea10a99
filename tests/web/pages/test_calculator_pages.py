"""Tests of calculators' pages, without scripts: fields, example, results, what they load."""

from __future__ import annotations

import gzip
import re
from pathlib import Path
from typing import Any
from urllib.parse import urljoin, urlsplit

import pytest
from flask.testing import FlaskClient

import gramwatt.web
from gramwatt import calculate
from gramwatt.charts.formatting import sentence, unit_sign
from gramwatt.engine import registry
from gramwatt.model import (
    Calculator,
    Choice,
    NumberList,
    Quantity,
    Table,
    get_label,
)
from gramwatt.web.pages.description import first_example, needs_upload
from gramwatt.web.pages.text import readable_text
from web.pages.browser_page import (
    BROWSER,
    Page,
    code,
    every_calculator,
    form_data,
    get,
    headline,
    last_place,
)


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
        assert labels[name].startswith(get_label(name, kind))
        hint = page.one("p", id=f"{name}-hint")[1]
        assert re.sub(r"\s+", " ", readable_text(getattr(kind, "description", ""))) in hint
        control = page.one("", id=name)[0]
        assert f"{name}-hint" in control["aria-describedby"]
        quantity = kind.item if isinstance(kind, NumberList) else kind
        if isinstance(quantity, Choice):
            options = {attributes.get("value"): text for attributes, text in page.find("option")}
            assert {each: quantity.get_option_label(each) for each in quantity.options}.items() <= options.items()
    ids = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
    assert len(ids) == len(set(ids))


@every_calculator
def test_it_starts_with_an_example_and_its_results(client: FlaskClient, calculator: Calculator[Any, Any]) -> None:
    """The page shows what the library returns for the same example, to the digits shown."""
    page = get(client, f"/calculators/{calculator.name}")
    example = first_example(calculator)
    given: dict[str, Any] = dict(example.given)
    found = calculate(calculator.name, **given)
    value, kind = found["results"][calculator.headline], calculator.result_fields[calculator.headline]
    shown, _, width = headline(page).replace("−", "-").partition("±")
    if isinstance(value, str):
        assert shown.strip() == (kind.get_option_label(value) if isinstance(kind, Choice) else value)
    else:
        number = shown.split(" ")[0]
        half = 0.6 * last_place(number)
        if width:  # it has the digits that its uncertainty bears, two of them
            half = max(half, 0.06 * float(width.split()[0]))
        assert float(number) == pytest.approx(value, abs=half)
    for name, kind in calculator.input_fields.items():
        if name in example.given and isinstance(kind, Quantity):
            number, _, unit = str(example.given[name]).partition(" ")
            menu = page.find("select", name=f"{name}.unit")
            shown = page.one("input", id=name)[0]["value"]
            assert shown == (number if menu or unit in ("", kind.unit) else f"{number} {unit_sign(unit)}")
            if unit and menu:
                assert unit in menu[0][1].split(" ")
    for caution in found["cautions"]:
        if "results" not in caution:
            assert sentence(readable_text(caution["text"])) in page.one("section", id="results")[1]
        elif calculator.headline in caution["results"]:
            assert caution["text"][:20] in page.one("h2", id="headline")[1]
    for reference in calculator.references:
        assert re.sub(r"\s+", " ", reference.text) in page.one("section", id="working")[1]
    assert page.find("img")
    assert all(attributes["alt"] for attributes, _ in page.find("img"))


@every_calculator
def test_no_needed_input_is_folded(client: FlaskClient, calculator: Calculator[Any, Any]) -> None:
    """Nor those of which at least one must be given, nor those of the example."""
    page = get(client, f"/calculators/{calculator.name}")
    needed = {name for name, kind in calculator.input_fields.items() if kind.is_required}
    needed |= {name for group in calculator.any_of for name in group}
    needed |= set(first_example(calculator).given)
    assert needed <= {attributes.get("id") for _, attributes in page.elements}
    assert not page.find_folded() & needed


def test_the_main_contributors_to_an_uncertainty_are_named(client: FlaskClient) -> None:
    """JCGM 100, 5.1: the relative variances of a quotient add, so 1 % of capacity and r of mass share as 1 to r^2.

    By hand: r = 0.2459 % is 5.7 % of the variance, which is named, and r = 0.2041 % is 4.0 %, which is not: 96.0 %
    remain.
    """
    by_mass = {}
    for mass_u in ("0.4917", "0.4082"):
        page = get(client, "/calculators/pack-energy", cells="6", capacity="1300 ± 13", pack_mass=f"200 ± {mass_u}")
        by_mass[mass_u] = [text for _, text in page.find("span", class_="contributors")]
    assert "± mainly from capacity 94 %, pack mass 6 %" in by_mass["0.4917"]
    shares = {text.removeprefix("± mainly from capacity ") for text in by_mass["0.4082"]}
    assert shares == {"100 %", "96 %"}


def load_all(client: FlaskClient, page: Page) -> dict[str, bytes]:
    """Return the files that a page loads at once, by their paths: style sheets, scripts and what these import."""
    paths = [a["href"] for a, _ in page.find("link")] + [a["src"] for a, _ in page.find("script")]
    files: dict[str, bytes] = {}
    while paths:
        path = paths.pop()
        if path not in files:
            with client.get(path) as file:
                assert file.status_code == 200, path
                files[path] = file.get_data()
            imported = re.findall(rb'^import [^;]*?"([^"]+)";', files[path], re.MULTILINE)
            paths += [urljoin(path, each.decode()) for each in imported]
    return files


@every_calculator
def test_a_page_is_small(client: FlaskClient, calculator: Calculator[Any, Any]) -> None:
    """With all that it loads under 50 kB, as a proxy sends it (gzip)."""
    text = client.get(f"/calculators/{calculator.name}", headers=BROWSER).data
    files = load_all(client, Page(text.decode()))
    static = Path(gramwatt.web.__file__).with_name("static")
    assets = [file for pattern in ("*.js", "*.css") for file in static.glob(pattern)]
    own = {f"/static/{file.name}" for file in assets if file.stem not in ("docs", "reference")}
    assert {name for name in files if name.endswith((".js", ".css"))} == own
    assert sum(len(gzip.compress(part)) for part in (text, *files.values())) < 50_000


@every_calculator
def test_a_page_loads_nothing_from_elsewhere(client: FlaskClient, calculator: Calculator[Any, Any]) -> None:
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
def test_an_unchanged_form_gives_the_same_results(client: FlaskClient, calculator: Calculator[Any, Any]) -> None:
    """As a browser without scripts sends it: every field, empty or not, with the units beside."""
    first = get(client, f"/calculators/{calculator.name}")
    sent = form_data(first)
    if needs_upload(calculator):
        answer = client.post(f"/calculators/{calculator.name}", data=sent, headers=BROWSER)
        again = Page(answer.text)
    else:
        again = get(client, f"/calculators/{calculator.name}", **sent)
    assert headline(again) == headline(first)
    assert not again.find("p", class_="error")
    assert {k: v for k, v in form_data(again).items() if v} == {k: v for k, v in sent.items() if v}


def test_packs_are_compared_in_a_table_and_a_chart(client: FlaskClient) -> None:
    page = get(client, "/calculators/build")
    calculator = registry.load()["build"]
    given: dict[str, Any] = dict(first_example(calculator).given)
    found = calculate("build", **given)["results"]["by_setup"]
    table = page.one("table", class_="transposed")[1]
    for row in found:
        assert row["name"] in table
    label = calculator.result_fields["by_setup"].columns["endurance"].label
    assert label in table
    (row, *_) = found
    image = page.find("img")[0][0]
    drawn = client.get(image["src"]).text
    assert "Flight time, min" in drawn
    assert row["name"] in drawn
    assert f"{row['name']}: {row['endurance']:.1f} min " in image["alt"]


def test_a_long_table_is_cut_with_a_note(client: FlaskClient) -> None:
    text = "time,voltage,current\n" + "".join(f"{at},15,10\n" for at in range(20))
    answer = client.post("/calculators/overlay-cues", data={"log": text}, headers=BROWSER)
    assert re.search(r"And \d{3} more rows", answer.text)
    assert len(answer.data) < 200_000


def test_text_is_escaped(client: FlaskClient) -> None:
    evil = "\"><script>alert(1)</script><b onx='"
    for query in ({"parts.0.name": evil, "parts.0.mass": "5", "mass_limit": "9"}, {"mass_limit": evil}, {evil: evil}):
        answer = client.get("/calculators/mass-margin", query_string=query, headers=BROWSER)
        assert "<script>alert" not in answer.text
        Page(answer.text)


def test_results_in_other_units(client: FlaskClient) -> None:
    page = get(client, "/calculators/pack-energy", cells="6", capacity="1300", **{"units.usable_energy": "kJ"})
    assert headline(page) == "83.12 kJ"
    linked = get(client, "/calculators/pack-energy", cells="6", capacity="1300", units="usable_energy:kJ")
    assert headline(linked) == "83.12 kJ"
    wrong = get(client, "/calculators/pack-energy", cells="6", capacity="1300", units="usable_energy:kg")
    assert "Usable energy is available in" in wrong.one("div", id="errors")[1]


def test_the_unit_of_a_result_is_in_every_link(client: FlaskClient) -> None:
    """In every link and piece of code, and while there is no answer."""
    query = {"cells": "6", "capacity": "1300", "mean_power": "200", "units.endurance": "s"}
    answer = client.get("/calculators/endurance", query_string=query, headers=BROWSER, base_url="http://here.example")
    page = Page(answer.text)
    pieces = code(page)
    seconds = calculate("endurance", cells=6, capacity=1300, mean_power=200, units={"endurance": "s"})["results"][
        "endurance"
    ]
    cell = urlsplit(pieces["URL of this value"])
    assert float(client.get(f"{cell.path}?{cell.query}").text) == seconds
    assert "units=endurance:s" in pieces["curl"]
    assert "units=endurance:s" in pieces["Python"]
    links = [a["href"] for a, text in page.find("a") if text in ("Chart SVG", "Chart PNG", "CSV", "JSON")]
    assert len(links) == 4
    assert all(
        "units=endurance:s" in each for each in (*links, page.one("img")[0]["src"], page.one("source")[0]["srcset"])
    )
    wrong = get(client, "/calculators/endurance", **{**query, "mean_power": "abc"})
    assert wrong.one("input", name="units.endurance")[0]["value"] == "s"
