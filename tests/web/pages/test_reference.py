"""Tests of the reference: everything that is declared is on it, readable, numbered and linked."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from gramwatt.engine.query_strings import build_query
from gramwatt.model import AnyCalculator, Choice, Count, Flag, Quantity, Table, Text, get_label, units
from gramwatt.model.constants import get_constants
from gramwatt.model.messages import unit_sign
from gramwatt.web.pages.accuracy import read_accuracy
from gramwatt.web.pages.reference import describe_input, describe_result, make_reference
from gramwatt.web.pages.text import linked_text, marked_text, mathematical_text
from web.pages.browser_page import BROWSER, CALCULATORS, every_calculator, get


def test_the_index_leads_to_every_calculator(client: FlaskClient) -> None:
    page = get(client, "/reference")
    for calculator in CALCULATORS:
        assert page.one("a", href=f"/reference/{calculator.name}")[1] == calculator.title


@every_calculator
def test_everything_that_is_declared_is_on_the_page(client: FlaskClient, calculator: AnyCalculator) -> None:
    page = get(client, f"/reference/{calculator.name}")
    for part, fields in (("inputs", calculator.input_fields), ("formulas", calculator.result_fields)):
        text = page.one("section", id=part)[1]
        columns = {name: kind for each in fields.values() for name, kind in each.columns.items() if kind.is_given}
        for name, kind in {**columns, **fields}.items():
            assert get_label(name, kind) in text
            assert name in text
    formulas = [text for kind in calculator.result_fields.values() for text in kind.formulas]
    assert len(page.find("div", class_="formula")) >= len(formulas)
    sources = page.one("ol", class_="sources")[1]
    for reference in calculator.references:
        assert re.sub(r"\s+", " ", reference.text) in sources
    examples = page.one("section", id="examples")[1]
    assert all(example.title in examples for example in calculator.examples)
    queries = {build_query(calculator, example.given) for example in calculator.examples} - {None}
    assert queries <= {each["href"].partition("?")[2] for each, _ in page.find("a")}
    assert page.one("a", href=f"/calculators/{calculator.name}")
    description = page.one("a", href=f"/v1/{calculator.name}/description")[0]["href"]
    assert client.get(description).get_json()["title"] == calculator.title


@every_calculator
def test_the_page_is_readable(client: FlaskClient, calculator: AnyCalculator) -> None:
    """No placeholder, no markup of declarations, no name with an underscore; names for programs stand by themselves."""
    page = get(client, f"/reference/{calculator.name}")
    assert not set("{}") & set(page.one("section", id="limits")[1])
    quoted = page.one("section", id="sources")[1] + page.one("section", id="accuracy")[1]
    texts = [text for tag in ("p", "li", "h3", "h4") for _, text in page.find(tag)]
    texts += [text for _, text in page.find("td", class_="meaning")]
    for text in texts:
        assert "`" not in text
        assert "**" not in text
        if text not in quoted:
            assert re.findall(r"\b[a-z]+(?:_[a-z0-9]+)+\b", text) == []
    assert not page.find("script"), "a page to read"


@every_calculator
def test_every_link_leads_somewhere(client: FlaskClient, calculator: AnyCalculator) -> None:
    page = get(client, f"/reference/{calculator.name}")
    ids = {attributes["id"] for _, attributes in page.elements if "id" in attributes}
    inside = {attributes["href"] for attributes, _ in page.find("a") if attributes["href"].startswith("#")}
    assert {link[1:] for link in inside} <= ids
    cited = {int(link.removeprefix("#source-")) for link in inside if link.startswith("#source-")}
    assert cited == set(range(1, len(calculator.references) + 1)), "every source is cited"
    others = {attributes["href"] for attributes, _ in page.find("a") if attributes["href"].startswith("/reference/")}
    assert others >= {f"/reference/{each.name}" for each in CALCULATORS if each is not calculator}
    assert others <= {f"/reference/{each.name}" for each in CALCULATORS}


@every_calculator
def test_calculator_and_reference_are_linked(client: FlaskClient, calculator: AnyCalculator) -> None:
    page = get(client, f"/calculators/{calculator.name}")
    assert page.find("a", href=f"/reference/{calculator.name}")
    assert page.find("a", href="/reference")


def test_accuracy_is_that_of_the_report(client: FlaskClient) -> None:
    measured = [each for each in CALCULATORS if read_accuracy(each.name).sections]
    assert measured
    for calculator in CALCULATORS:
        page = get(client, f"/reference/{calculator.name}")
        text, accuracy = page.one("section", id="accuracy")[1], read_accuracy(calculator.name)
        cells = "|".join(text for _, text in page.find("td"))
        for section in accuracy.sections:
            assert section["title"] in text
            for row in section["rows"]:
                shown = (each.replace("-", "−") for each in (row["mean"], row["typical"], row["worst"]))
                assert "|".join((row["against"], row["cases"], *shown, row["remark"])) in cells
        if not accuracy.sections:
            assert accuracy.by_hand[1:] in text


def test_a_page_is_sent_again_only_when_it_has_changed(client: FlaskClient) -> None:
    url = f"/reference/{CALCULATORS[0].name}"
    first = client.get(url, headers=BROWSER)
    again = client.get(url, headers={**BROWSER, "If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")
    assert again.headers["Content-Security-Policy"] == first.headers["Content-Security-Policy"]


def test_an_unknown_calculator(client: FlaskClient) -> None:
    answer = client.get("/reference/endurence", headers=BROWSER)
    assert (answer.status_code, answer.mimetype) == (404, "text/html")
    assert "endurance" in answer.text
    assert client.get("/reference/endurence").mimetype == "application/problem+json"


INPUTS = {
    "both": (Quantity("V", "", above=0, at_most=4.5), "V", "above 0 to 4.5", "required"),
    "below": (Quantity("%", "", at_least=0, below=100, default=20), "%", "0 to below 100", "20"),
    "signed": (Quantity("degC", "", at_least=-30, at_most=90, default=25), "°C", "−30 to 90", "25"),
    "uncertain": (Quantity("W", "", at_least=0, at_most=1e4, default=5, default_u=2), "W", "0 to 10\u202f000", "5 ± 2"),
    "factor": (Quantity("1", "", above=0, at_most=10, default=2, default_factor=1.4), "", "above 0 to 10", "2 ×/÷ 1.4"),
    "count": (Count("", at_least=1, at_most=24, default=4), "", "1 to 24", "4"),
    "flag": (Flag(""), "", "yes or no", "no"),
    "choice": (Choice(("a-b", "c"), "", default="a-b"), "", "2 options", "a b"),
    "text": (Text("", optional=True), "", "text", ""),
}
RESULTS = {
    "positive": (Quantity("W", ""), "0 and more"),
    "signed": (Quantity("g", "", signed=True), "any"),
    "share": (Quantity("%", "", at_most=100), "0 to 100"),
    "margin": (Quantity("g", "", signed=True, at_most=1e6), "up to 1\u202f000\u202f000"),
    "at-least": (Quantity("1", "", at_least=1), "1 and more"),
    "count": (Count("", at_least=1, at_most=2400), "1 to 2400"),
}


@pytest.mark.parametrize(("kind", "unit", "bounds", "default"), INPUTS.values(), ids=INPUTS)
def test_an_input_in_words(kind: Quantity, unit: str, bounds: str, default: str) -> None:
    shown = describe_input(CALCULATORS[0], "not_declared", kind)
    assert (shown.unit, shown.bounds, shown.default) == (unit, bounds, default)


@pytest.mark.parametrize(("kind", "bounds"), RESULTS.values(), ids=RESULTS)
def test_a_result_in_words(kind: Quantity, bounds: str) -> None:
    assert describe_result(CALCULATORS[0], "not_declared", kind, {}).bounds == bounds


@every_calculator
def test_other_units_are_those_that_are_accepted(calculator: AnyCalculator) -> None:
    listed = dict(make_reference(calculator).units)
    for kind in calculator.input_fields.values():
        if isinstance(kind, Quantity) and len(units.compatible_units(kind.unit)) > 2:
            assert unit_sign(kind.unit) in listed


@every_calculator
def test_constants_of_formulas_are_listed_with_value_and_unit(calculator: AnyCalculator) -> None:
    listed = dict(make_reference(calculator).constants)
    formulas = " ".join(formula for kind in calculator.result_fields.values() for formula in kind.formulas)
    for constant in get_constants().values():
        if re.search(rf"\b{constant.name}\b", formulas):
            number, _, unit = listed[constant.label].partition(" ")
            assert float(number.replace("\u202f", "").replace("\u2212", "-")) == pytest.approx(
                constant.value, rel=1e-11
            )
            assert unit == constant.sign


def test_formulas_of_assumptions_are_listed_in_their_order() -> None:
    for calculator in CALCULATORS:
        shown = [(each.name, *each.formulas) for each in make_reference(calculator).assumed]
        formulas = [each for each in calculator.assumptions if each.formula]
        assert list(dict.fromkeys(name for name, _ in shown)) == list(
            dict.fromkeys(each.name.rpartition(".")[2] for each in formulas)
        )
        assert len(shown) == len({each.formula for each in formulas})
        assert all("<math" in formula for _, formula in shown)


def test_tables_list_their_columns() -> None:
    tables = [
        (each, name) for each in CALCULATORS for name, kind in each.input_fields.items() if isinstance(kind, Table)
    ]
    assert tables
    for calculator, name in tables:
        fields = {each.name: each for group in make_reference(calculator).groups for each in group.fields}
        kind = calculator.input_fields[name]
        assert [column.name for column in fields[name].columns] == [n for n, k in kind.columns.items() if k.is_given]


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("0.145 × (pitch/diameter)^0.55", "0.145 × (pitch/diameter)<sup>0.55</sup>"),
        ("(3000 mm³ / x)^(5/3), T / (rho n^2 D^4)", "(3000 mm³ / x)<sup>5/3</sup>, T / (ρ n² D⁴)"),
        ("a < b^x", "a &lt; b<sup>x</sup>"),
    ],
)
def test_mathematics_in_a_text(text: str, shown: str) -> None:
    assert mathematical_text(text) == shown


def test_links_and_marks_in_a_text() -> None:
    name = next(each.name for each in CALCULATORS if "-" in each.name)
    link = f'<a href="/reference/{name}">{name}</a>'
    assert linked_text(f"As in {name}; the {name} current & <more>") == (
        f"As in {link}; the {name} current &amp; &lt;more&gt;"
    )
    word = next(each.name for each in CALCULATORS if "-" not in each.name)
    assert linked_text(f"As in {word}; this {word}") == f'As in <a href="/reference/{word}">{word}</a>; this {word}'
    assert marked_text("**Weak: a.** *b* `c` <d>") == "<strong>Weak: a.</strong> <em>b</em> <code>c</code> &lt;d&gt;"
