"""Tests of figures and messages on pages: probabilities, differences that are zero, reasons, labels."""

from __future__ import annotations

import json
import re
from pathlib import Path

from flask.testing import FlaskClient

from web.pages.browser_page import BROWSER, Page, get

CRAFT = Path(__file__).parents[3] / "examples" / "craft" / "craft.json"


def test_probabilities_and_differences_without_rounding_errors(client: FlaskClient) -> None:
    """A setup differs from itself by nothing; far over a limit the probability is no power of ten."""
    data = {"craft": CRAFT.read_text(encoding="utf-8")}
    answer = client.post("/calculators/build", data=data, headers=BROWSER)
    page = Page(answer.text)
    cells = [text for _, text in page.find("td", class_="number")]
    assert "0" in cells
    assert "< 0.1" in cells
    assert not [text for text in cells if re.search(r"\de[-−]\d", text)]


def test_a_reason_is_written_once(client: FlaskClient) -> None:
    """Results that are missing for the same reason do not repeat it."""
    log = "time,voltage,current\n0,12.4,6\n30,12.2,6\n60,12.0,6\n"
    page = get(client, "/calculators/flight-log", log=log)
    reasons = [text for _, text in page.find("em", class_="reason")]
    assert len([each for each, _ in page.find("span", class_="no-result")]) > len(reasons) > 0
    assert len(set(reasons)) == len(reasons)


def test_errors_of_fields_use_their_labels(client: FlaskClient) -> None:
    page = get(client, "/calculators/throttle-cap", cells="6", target_cells="4")
    assert page.one("p", id="kv-error1")[1].startswith("Motor kV is required")


def test_a_page_lists_what_no_calculator_asks_for(client: FlaskClient) -> None:
    craft = {"packs": [{"name": "four", "cells": 4, "capacity": 1300, "colour": "red"}], "wibble": 1}
    data = {"craft": json.dumps(craft)}
    page = Page(client.post("/calculators/pack-energy", data=data, headers=BROWSER).text)
    unknown = json.loads(page.one("form", id="calculator")[0]["data-unknown"])
    assert unknown == ["/craft/packs/0/colour", "/craft/wibble"]
