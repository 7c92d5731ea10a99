"""Tests of the text of declarations as pages show it."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from gramwatt.model import AnyCalculator
from gramwatt.web.pages.text import readable_formula, readable_text
from web.pages.browser_page import every_calculator, get


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("as in pack-current, at end_state_of_charge", "as in pack-current, at end state of charge"),
        ("about 100 mohm at 25 degC, 1.2 kg/m3", "about 100 mΩ at 25 °C, 1.2 kg/m³"),
        ("unknown name 'cell_resist'", "unknown name 'cell_resist'"),
    ],
)
def test_names_and_units_are_readable(text: str, shown: str) -> None:
    assert readable_text(text) == shown


@pytest.mark.parametrize(
    ("formula", "shown"),
    [
        ("open_circuit_voltage**2 / (4 * pack_resistance)", "open circuit voltage² / (4 × pack resistance)"),
        ("(mass / reference_mass)**mass_exponent", "(mass / reference mass)^mass exponent"),
        ("sqrt(2) * pi - (46.15 mohm)", "√(2) × π − (46.15 mΩ)"),
    ],
)
def test_formulas_are_in_mathematical_notation(formula: str, shown: str) -> None:
    assert readable_formula(formula) == shown


@every_calculator
def test_no_page_shows_names_with_underscores(client: FlaskClient, calculator: AnyCalculator) -> None:
    """Sources may: they quote what others have named. Snippets and option values are code."""
    page = get(client, f"/calculators/{calculator.name}")
    texts = [page.one("section", id="results")[1], page.one("dl", class_="working")[1]]
    reuse = page.one("section", id="reuse")[1]
    texts += [text for tag in ("label", "legend", "p") for _, text in page.find(tag) if text not in reuse]
    texts += [attributes["alt"] for attributes, _ in page.find("img")]
    assert re.findall(r"\b[a-z]+_[a-z0-9_]+\b", " ".join(texts)) == []
