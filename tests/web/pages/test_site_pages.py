"""Tests of the home page, of pages for errors, of caching, and of descriptions."""

from __future__ import annotations

import json
from typing import Any

from flask.testing import FlaskClient

from gramwatt.model import (
    CATEGORIES,
    Calculator,
)
from gramwatt.web.pages.description import describe_calculator
from web.pages.browser_page import (
    BROWSER,
    CALCULATORS,
    every_calculator,
    get,
    headline,
)


def test_the_home_page(client: FlaskClient) -> None:
    page = get(client, "/")
    text = page.one("section", id="calculators")[1]
    for title in CATEGORIES.values():
        assert title in text
    for calculator in CALCULATORS:
        assert page.find("a", href=f"/calculators/{calculator.name}")
    assert headline(page) == "4.500 g ± 0.050 g", "118.5 + 96.2 + 30.8 = 245.5 g of 250; 0.1 sqrt(3 / 12), by hand"
    other = get(client, "/", masses="100, 160", mass_limit="250")
    assert headline(other) == "−10.00 g ± 0.41 g"


def test_an_unknown_calculator_is_a_page_for_browsers_and_a_problem_for_programs(client: FlaskClient) -> None:
    answer = client.get("/calculators/endurence", headers=BROWSER)
    assert (answer.status_code, answer.mimetype) == (404, "text/html")
    assert "endurance" in answer.text
    output = client.get("/calculators/endurence")
    assert (output.status_code, output.mimetype) == (404, "application/problem+json")


def test_a_page_is_sent_again_only_when_it_has_changed(client: FlaskClient) -> None:
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
    assert "elsewhere.example" not in client.get(url, headers=BROWSER).text, "no page is cached for another host"


@every_calculator
def test_the_description_for_programs(client: FlaskClient, calculator: Calculator[Any, Any]) -> None:
    output = client.get(f"/calculators/{calculator.name}").get_json()
    assert output == json.loads(json.dumps(dict(describe_calculator(calculator))))
    assert [each["name"] for each in output["inputs"]] == list(calculator.input_fields)
    assert [each["name"] for each in output["results"]] == list(calculator.result_fields)
    kinds = {each["kind"] for each in (*output["inputs"], *output["results"])}
    assert kinds <= {"quantity", "count", "choice", "flag", "text", "series", "table", "samples"}, (
        "as the script of the web component reads them"
    )
    answer = client.post(f"/v1/{calculator.name}", json=output["example"])
    assert answer.status_code == 200
