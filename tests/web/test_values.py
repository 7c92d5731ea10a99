"""One bare value for a spreadsheet's cell: what LibreOffice's and Excel's WEBSERVICE need of it."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote, urlencode

import pytest
from flask.testing import FlaskClient

from gramwatt.engine import registry
from gramwatt.model import Example, Table, TimeSeries

ENERGY = "/v1/pack-energy/usable_energy?cells=6&capacity=1300"
MASSES = "/v1/mass-margin/running_total_mass?masses=118.5,96.2,30.8"


def text(client: FlaskClient, url: str) -> str:
    answer = client.get(url)
    assert answer.status_code == 200, answer.text
    return answer.text


def test_it_is_bare_text(client: FlaskClient) -> None:
    answer = client.get(ENERGY)
    assert answer.status_code == 200
    assert answer.content_type == "text/plain; charset=utf-8"
    assert answer.data == b"23.088"  # no mark of byte order, no quotes, no newline, no unit
    assert "Location" not in answer.headers


@pytest.mark.parametrize("accept", ["*/*", "text/plain", "text/html,application/xhtml+xml,*/*;q=0.8", ""])
def test_any_cell_and_any_browser_may_ask(client: FlaskClient, accept: str) -> None:
    assert client.get(ENERGY, headers={"Accept": accept}).data == b"23.088"


def test_a_trailing_slash_is_computed_and_never_redirected(client: FlaskClient) -> None:
    assert text(client, ENERGY.replace("?", "/?")) == "23.088"


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        pytest.param("unit=kJ", "83.1168", id="converted"),
        pytest.param("unit=kJ&digits=3", "83.1", id="digits-after-conversion"),
        pytest.param("digits=1", "20", id="one-digit-without-exponent"),
        pytest.param("decimal=,", "23,088", id="decimal-comma"),
        pytest.param("decimal=%2C&unit=kJ&digits=4", "83,12", id="all-three"),
        pytest.param("reserve=100%20%E2%80%B0", "25.974", id="input-with-a-unit-of-its-own"),
    ],
)
def test_unit_digits_and_decimal_sign(client: FlaskClient, options: str, expected: str) -> None:
    assert text(client, f"{ENERGY}&{options}") == expected


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        pytest.param("", "118.5,214.7,245.5", id="commas-with-a-decimal-point"),
        pytest.param("&decimal=,", "118,5;214,7;245,5", id="semicolons-with-a-decimal-comma"),
        pytest.param("&unit=kg&digits=2", "0.12,0.21,0.25", id="each-converted-and-cut"),
    ],
)
def test_a_list(client: FlaskClient, options: str, expected: str) -> None:
    assert text(client, MASSES + options) == expected


def test_a_choice_is_a_word(client: FlaskClient) -> None:
    assert text(client, ENERGY.replace("usable_energy", "baggage")) == "carry-on"


def test_a_choice_has_no_unit(client: FlaskClient) -> None:
    answer = client.get(ENERGY.replace("usable_energy", "baggage") + "&unit=kg")
    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["pointer"] == "/unit"


@pytest.mark.parametrize(
    ("url", "begins", "names"),
    [
        pytest.param(
            "/v1/pack-energi/usable_energy?cells=6", "#ERR unknown-calculator: ", "pack-energy", id="404-name"
        ),
        pytest.param("/v1/pack-energy/usable?cells=6", "#ERR unknown-result: ", "usable_energy", id="404-result"),
        pytest.param("/v1/pack-energy/usable_energy?cells=99", "#ERR invalid-input: ", "from 1 to 24", id="422"),
        pytest.param(f"{ENERGY}&unit=lb", "#ERR invalid-input: ", "kJ", id="422-unit"),
        pytest.param(ENERGY.replace("usable", "specific"), "#ERR no-result: ", "pack mass", id="no-result"),
    ],
)
def test_errors_as_text(client: FlaskClient, url: str, begins: str, names: str) -> None:
    """A cell shows nothing of a 4xx; with errors=text it shows what is wrong."""
    answer = client.get(f"{url}&errors=text")
    assert answer.status_code == 200
    assert answer.content_type == "text/plain; charset=utf-8"
    assert answer.text.startswith(begins)
    assert names in answer.text
    assert "\n" not in answer.text
    assert answer.headers["Cache-Control"] == "no-store"
    assert client.get(url).status_code in (404, 422)


def test_errors_as_text_tells_every_error(client: FlaskClient) -> None:
    answer = client.get("/v1/pack-energy/usable_energy?cells=0&capacity=-1&cels=6&errors=text")
    assert all(name in answer.text for name in ("cells: ", "capacity: ", "cels: "))


def test_errors_as_text_never_hides_a_good_answer(client: FlaskClient) -> None:
    assert text(client, f"{ENERGY}&errors=text") == "23.088"


def test_no_answer_is_a_404_that_says_why(client: FlaskClient) -> None:
    answer = client.get("/v1/pack-current/pack_current?cells=6&capacity=1300&pack_power=99999")
    problem = answer.get_json()
    assert answer.status_code == 404
    assert problem["type"] == "http://localhost/problems/no-result"
    assert "cannot deliver 99999 W" in problem["detail"]


@pytest.mark.parametrize(
    ("calculator", "example"),
    [
        pytest.param(calculator, example, id=f"{calculator.name}: {example.title}")
        for calculator in registry.load().values()
        for example in calculator.examples
        if not any(isinstance(calculator.input_fields[name], Table | TimeSeries) for name in example.given)
    ],
)
def test_every_result_of_every_example_is_a_url_that_excel_takes(
    client: FlaskClient, calculator: Any, example: Example
) -> None:
    """Excel's WEBSERVICE takes 2048 characters, host included; 300 are left for it and the options."""
    words = {n: ",".join(map(str, v)) if isinstance(v, list) else str(v) for n, v in example.given.items()}
    results = client.post(f"/v1/{calculator.name}", json=dict(example.given)).get_json()["results"]
    for name, value in results.items():
        url = f"/v1/{calculator.name}/{name}?{urlencode(words, quote_via=quote)}"
        assert len(url) < 2048 - 300
        answer = client.get(url)
        assert answer.status_code == (404 if value is None else 200)
        if isinstance(value, int | float):
            assert float(answer.text) == value
