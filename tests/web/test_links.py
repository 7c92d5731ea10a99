"""Descriptions of calculators, links of responses, types of problems, and what is deprecated."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from flask.testing import FlaskClient
from werkzeug.test import create_environ, run_wsgi_app

from gramwatt.engine import registry
from gramwatt.model import Count, Quantity
from gramwatt.web import create_app
from gramwatt.web.openapi.document import build_document
from web.invented import add_calculators, write_calculators

PACK = "/v1/pack-energy?cells=6&capacity=1300"
DESCRIBED = '</v1/{}/description>; rel="describedby"; type="application/json"'
OLD = "/v1/invented-old"


@pytest.fixture(scope="module")
def old(tmp_path_factory: pytest.TempPathFactory) -> Iterator[FlaskClient]:
    """Return the application with an invented circle of which an input and a result are deprecated."""
    folder = tmp_path_factory.mktemp("calculators")
    write_calculators(folder)
    source = (folder / "invented_circle.py").read_text(encoding="utf-8")
    decided = 'Deprecation(date(2026, 11, 1), "Use diameter.", until=date(2028, 1, 1))'
    source = source.replace("invented_circle", "invented_old").replace(
        "import numpy as np\n",
        "import numpy as np\nfrom datetime import date\nfrom gramwatt.model.deprecation import Deprecation\n",
    )
    source = source.replace('"Radius.", ', f'"Radius.", deprecated={decided}, ')
    (folder / "invented_old.py").write_text(
        source.replace("""    any_of=""", """    deprecated=None,\n    any_of="""), encoding="utf-8"
    )
    with add_calculators(folder):
        yield create_app().test_client()


def test_a_description_has_what_programs_need(client: FlaskClient) -> None:
    """Every input and result, with its unit and its bounds, as declared."""
    for entry in client.get("/v1").get_json()["calculators"]:
        calculator = registry.get(entry["name"])
        response = client.get(entry["links"]["description"])
        described = response.get_json()
        assert response.headers["Link"].startswith(DESCRIBED.format(calculator.name))
        assert client.get(response.request.path, headers={"If-None-Match": response.headers["ETag"]}).status_code == 304
        inputs = {each["name"]: each for each in described["inputs"]}
        assert list(inputs) == list(calculator.input_fields)
        assert [each["name"] for each in described["results"]] == list(calculator.result_fields)
        for name, kind in calculator.input_fields.items():
            if isinstance(kind, Quantity):
                assert inputs[name]["unit"] == kind.unit == inputs[name]["units"][0]
                ends = [
                    inputs[name].get(each) for each in ("minimum", "exclusive_minimum", "maximum", "exclusive_maximum")
                ]
                assert ends == [kind.at_least, kind.above, kind.at_most, kind.below]
            if isinstance(kind, Count):
                assert (inputs[name]["minimum"], inputs[name]["maximum"]) == (kind.at_least, kind.at_most)
    page = client.get("/calculators/pack-energy", headers={"Accept": "application/json"})
    assert page.get_json() == client.get("/v1/pack-energy/description").get_json()
    assert client.post("/v1/build/description").headers["Allow"] == "GET, HEAD, OPTIONS"


@pytest.mark.parametrize("path", [PACK, f"{PACK}&format=csv", "/v1/pack-energy/sweep?vary=cells&values=2,3&capacity=9"])
def test_responses_of_a_calculator_lead_to_its_description_and_the_contract(client: FlaskClient, path: str) -> None:
    described, *contract = client.get(path).headers["Link"].split(", ")
    assert described == DESCRIBED.format("pack-energy")
    assert [each.partition(";")[0] for each in contract] == ["</openapi.json>", "</docs>"]


def test_a_bare_value_has_one_short_link(client: FlaskClient) -> None:
    value = client.get(PACK.replace("?", "/usable_energy?"))
    assert value.headers["Link"] == DESCRIBED.format("pack-energy")


def test_the_type_of_a_problem_leads_to_its_description(client: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
    """At the address of the request or in the settings; a Host header that is no host is not repeated."""
    found = client.get("/v1/pack-energy?cells=0", headers={"Host": "tools.example.org:8080"})
    assert found.get_json()["type"] == "http://tools.example.org:8080/problems/invalid-input"
    assert found.headers["Cache-Control"] == "no-store"
    assert client.get("/problems/invalid-input").status_code == 200
    for host in ('a"><b', "'$(id)", "x:99999999"):
        wrong = client.get("/v1/pack-energy?cells=0", headers={"Host": host})
        assert wrong.get_json()["type"] == "/problems/invalid-input"
    for path in ("/v1/pack-energy?cells=0", "/docs/calculate_endurance", "/calculators/endurance", "/nothing"):
        environ = create_environ(path) | {"HTTP_HOST": "[1:2]", "HTTP_ACCEPT": "text/html"}
        assert run_wsgi_app(client.application, environ)[1] != "500 INTERNAL SERVER ERROR"
    monkeypatch.setenv("GRAMWATT_URL", "https://example.org/")
    assert client.get("/v1/nothing").get_json()["type"] == "https://example.org/problems/unknown-calculator"


def test_what_is_deprecated_is_dated_and_says_what_replaces_it(old: FlaskClient) -> None:
    """By the headers of RFC 9745 and RFC 8594, by a caution, in the description and in the contract."""
    for response in (old.get(f"{OLD}?radius=10"), old.post(OLD, json={"radius": 10})):
        assert response.headers["Deprecation"] == f"@{int(datetime(2026, 11, 1, tzinfo=UTC).timestamp())}"
        assert response.headers["Sunset"] == "Sat, 01 Jan 2028 00:00:00 GMT"
        assert response.headers["Link"].endswith('</docs#about-deprecation>; rel="deprecation"; type="text/html"')
        (caution,) = [each for each in response.get_json()["cautions"] if each["code"] == "deprecated"]
        text = "The input radius has been deprecated since 2026-11-01 and will be removed on 2028-01-01. Use diameter."
        assert caution == {"code": "deprecated", "kind": "finding", "severity": "low", "text": text}
    unaffected = old.get(f"{OLD}?diameter=10")
    assert not {"Deprecation", "Sunset"} & set(unaffected.headers.keys())
    assert "deprecated" not in [each["code"] for each in unaffected.get_json()["cautions"]]
    radius, diameter = old.get(f"{OLD}/description").get_json()["inputs"]
    assert (radius["deprecated"], "deprecated" in diameter) == (True, False)
    schemas = build_document()["components"]["schemas"]
    marked = [name for name, schema in schemas.items() if schema.get("deprecated")]
    assert len(marked) == 1
    assert "adius" in marked[0]


def test_the_policy_is_on_the_page_that_deprecated_responses_link_to(client: FlaskClient) -> None:
    page = client.get("/docs", headers={"Accept": "text/html"}).text
    assert 'id="about-deprecation"' in page
    assert "Sunset" in page
