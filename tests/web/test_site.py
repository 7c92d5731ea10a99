"""What stands around the calculators: first page, index, contract, reference, problems, health, metrics."""

from __future__ import annotations

import re
from typing import Any

import pytest
from flask.testing import FlaskClient
from prometheus_client.parser import text_string_to_metric_families

from fast_yaml import load_yaml
from gramwatt.engine import registry
from gramwatt.engine.query_strings import fits_query
from gramwatt.model import units
from gramwatt.version import __version__
from gramwatt.web.problems import PROBLEM_TYPES

PACK = "/v1/pack-energy?cells=6&capacity=1300"
BROWSER = {"Accept": "text/html,application/xhtml+xml,application/xml;q=0.9,image/avif,*/*;q=0.8"}


def links(page: str) -> list[str]:
    """Everything that a page refers to."""
    return [link.replace("&amp;", "&") for link in re.findall(r"(?:href|src|action)=[\"']([^\"']+)[\"']", page)]


def policy(header: str) -> dict[str, set[str]]:
    """Return a Content-Security-Policy, its sources by directive."""
    directives = (directive.split() for directive in header.split(";") if directive.strip())
    return {name: set(sources) for name, *sources in directives}


def test_first_page_for_people(client: FlaskClient) -> None:
    answer = client.get("/", headers=BROWSER)
    assert answer.content_type == "text/html; charset=utf-8"
    for name, calculator in registry.load().items():
        assert name in answer.text
        assert calculator.title in answer.text
    assert {"/docs", "/openapi.json", "/v1"} <= set(links(answer.text))


def test_every_link_of_the_first_page_leads_somewhere(client: FlaskClient) -> None:
    page = client.get("/", headers=BROWSER).text
    found = links(page)
    assert len(found) > len(registry.list_names())
    for link in found:
        if link.startswith("#"):
            assert f'id="{link[1:]}"' in page
            continue
        assert link.startswith("/"), link
        with client.get(link) as answer:
            assert answer.status_code == 200, link


@pytest.mark.parametrize("headers", [{}, {"Accept": "*/*"}, {"Accept": "application/json"}], ids=str)
def test_first_page_for_programs_is_the_index(client: FlaskClient, headers: dict[str, str]) -> None:
    answer = client.get("/", headers=headers)
    assert answer.content_type == "application/json"
    assert answer.data == client.get("/v1").data


def test_index(client: FlaskClient) -> None:
    answer = client.get("/v1")
    index = answer.get_json()
    assert index["service"] == "gramwatt"
    assert index["version"] == __version__
    assert [entry["name"] for entry in index["calculators"]] == list(registry.load())
    assert 'rel="service-desc"' in answer.headers["Link"]
    assert 'rel="service-doc"' in answer.headers["Link"]
    for entry in index["calculators"]:
        assert entry["title"]
        assert entry["summary"]
        assert entry["headline"] == entry["results"][0]


def test_every_link_of_the_index_answers(client: FlaskClient) -> None:
    index = client.get("/v1").get_json()
    assert client.get(index["contract"]).status_code == 200
    assert client.get(index["reference"]).status_code == 200
    for entry in index["calculators"]:
        if "log" in entry["links"]:
            assert client.get(entry["links"]["log"]).status_code == 405, "a recording is sent by POST"
        if "example" not in entry["links"]:  # a calculator with a table needs POST
            assert client.get(entry["links"]["results"]).status_code == 405
            continue
        example, value = entry["links"]["example"], entry["links"]["value"]
        whole = client.get(example)
        assert whole.status_code == 200, example
        headline = whole.get_json()["results"][entry["headline"]]
        assert client.get(value).text == str(headline)
        assert example.startswith(entry["links"]["results"])


@pytest.mark.parametrize(
    ("path", "media"),
    [
        ("/static/docs.js", "text/javascript"),
        ("/static/page.css", "text/css"),
        ("/static/mark.svg", "image/svg+xml"),
    ],
)
def test_files_have_a_type_that_nosniff_browsers_take(client: FlaskClient, path: str, media: str) -> None:
    with client.get(path) as file:
        assert file.mimetype == media


@pytest.mark.parametrize("path", ["/", "/docs", "/docs/list_units", "/reference", "/problems/invalid-input"])
def test_pages_run_nothing_from_elsewhere(client: FlaskClient, path: str) -> None:
    directives = policy(client.get(path, headers=BROWSER).headers["Content-Security-Policy"])
    assert directives["default-src"] == {"'none'"}
    assert directives["base-uri"] == {"'none'"}
    scripts = directives.get("script-src", {"'none'"})
    assert scripts <= {"'self'", "'none'"}, "no inline scripts, no eval, no other host"
    hosts = set().union(*directives.values()) - {"'self'", "'none'", "data:", "*"}
    assert not hosts


@pytest.mark.parametrize("path", ["/v1", PACK, "/nothing", "/openapi.json", "/metrics"])
def test_what_is_no_page_may_load_nothing(client: FlaskClient, path: str) -> None:
    answer = client.get(path)
    assert policy(answer.headers["Content-Security-Policy"])["default-src"] == {"'none'"}
    assert answer.headers["X-Content-Type-Options"] == "nosniff"


def test_both_contracts_are_one(client: FlaskClient) -> None:
    as_json, as_yaml = client.get("/openapi.json"), client.get("/openapi.yaml")
    assert as_json.content_type == "application/json"
    assert as_yaml.content_type == "application/yaml"
    assert load_yaml(as_yaml.data) == as_json.get_json()
    assert as_json.get_json()["openapi"].startswith("3.1.")
    assert as_json.get_json()["info"]["version"] == __version__


def test_the_contract_has_every_route(client: FlaskClient) -> None:
    paths = set(client.get("/openapi.json").get_json()["paths"])
    for name, calculator in registry.load().items():
        assert f"/v1/{name}" in paths
        if fits_query(calculator):
            assert f"/v1/{name}/{{result}}" in paths
    assert {"/", "/v1", "/openapi.json", "/openapi.yaml", "/docs", "/problems/{kind}", "/metrics"} <= paths


@pytest.mark.parametrize("kind", PROBLEM_TYPES)
def test_every_type_of_problem_has_a_page(client: FlaskClient, kind: str) -> None:
    output = client.get(f"/problems/{kind}").get_json()
    page = client.get(f"/problems/{kind}", headers=BROWSER)
    assert output == {
        "type": f"http://localhost/problems/{kind}",
        "title": PROBLEM_TYPES[kind].title,
        "status": PROBLEM_TYPES[kind].status,
        "advice": PROBLEM_TYPES[kind].advice,
    }
    assert page.content_type == "text/html; charset=utf-8"
    assert PROBLEM_TYPES[kind].title in page.text


@pytest.mark.parametrize("word", ["live", "ready"])
def test_health(client: FlaskClient, word: str) -> None:
    answer = client.get(f"/health/{word}")
    assert (answer.status_code, answer.text) == (200, f"{word}\n")
    assert answer.headers["Cache-Control"] == "no-store"


def counted(client: FlaskClient) -> dict[tuple[str, str, str], float]:
    """Return requests by method, route and status."""
    families = text_string_to_metric_families(client.get("/metrics").text)
    samples = next(family.samples for family in families if family.name == "gramwatt_requests")
    return {
        (sample.labels["method"], sample.labels["route"], sample.labels["status"]): sample.value
        for sample in samples
        if sample.name == "gramwatt_requests_total"
    }


@pytest.mark.parametrize(
    ("method", "url", "key"),
    [
        pytest.param("GET", PACK, ("GET", "/v1/<calculator_name>", "200"), id="answer"),
        pytest.param("GET", "/v1/secret-name", ("GET", "/v1/<calculator_name>", "404"), id="unknown-calculator"),
        pytest.param("GET", f"{PACK}&secret=1", ("GET", "/v1/<calculator_name>", "422"), id="refused"),
        pytest.param("GET", "/secret/path", ("GET", "none", "404"), id="unknown-path"),
        pytest.param("SECRET", "/v1", ("other", "none", "405"), id="method-made-up"),
        pytest.param("GET", "/docs/secret", ("GET", "/docs/<operation_id>", "404"), id="unknown-operation"),
    ],
)
def test_requests_are_counted_under_routes_never_under_what_a_client_made_up(
    client: FlaskClient, method: str, url: str, key: tuple[str, str, str]
) -> None:
    before = counted(client)
    client.open(url, method=method)
    after = counted(client)
    assert after[key] == before.get(key, 0) + 1
    assert "secret" not in client.get("/metrics").text.lower()


def test_metrics_are_prometheus_text_and_never_preserved(client: FlaskClient) -> None:
    answer = client.get("/metrics")
    assert answer.mimetype == "text/plain"
    assert answer.headers["Cache-Control"] == "no-store"
    names: Any = {family.name for family in text_string_to_metric_families(answer.text)}
    assert {"gramwatt_requests", "gramwatt_request_seconds"} <= names


@pytest.mark.parametrize(
    ("offered", "preserved"),
    [
        pytest.param("5d1f1f43-6a2a-4f4c-9d35-6d7c5ad0a2a1", True, id="a-uuid-is-kept"),
        pytest.param("mine", False, id="a-word-is-replaced"),
        pytest.param("5d1f1f43-6a2a-4f4c-9d35-6d7c5ad0a2a1 x", False, id="more-than-a-uuid-is-replaced"),
    ],
)
def test_the_request_id_of_a_client(client: FlaskClient, offered: str, preserved: bool) -> None:
    answer = client.get("/nothing", headers={"X-Request-ID": offered})
    assert answer.get_json()["instance"] == f"urn:uuid:{answer.headers['X-Request-ID']}"
    assert (answer.headers["X-Request-ID"] == offered) == preserved


def test_the_table_of_units(client: FlaskClient) -> None:
    """The one that requests are read by; factors derived in tests/engine/test_units.py (rtol: half a digit)."""
    answer = client.get("/v1/units")
    assert answer.headers["Cache-Control"] == "public, max-age=3600"
    output = answer.get_json()["dimensions"]
    table = {each["dimension"]: {unit["unit"]: unit for unit in each["units"]} for each in output}
    assert {name: set(found) for name, found in table.items()} == {name: set(u) for name, u in units.UNITS.items()}
    for dimension, unit, factor, digits in (
        ("mass", "lb", 4.535924e-01, 7),
        ("mass", "oz", 2.834952e-02, 7),
        ("length", "in", 2.54e-02, 15),
        ("power", "hp", 7.456999e02, 7),
        ("force", "lbf", 4.448222e00, 7),
        ("pressure", "inHg", 3.386389e03, 7),
        ("speed", "mph", 4.4704e-01, 15),
        ("energy", "Wh", 3.6e03, 15),
    ):
        assert table[dimension][unit]["scale"] == pytest.approx(factor, rel=0.5 * 10 ** -(digits - 1)), unit
    assert table["temperature"]["degC"] == {"unit": "degC", "scale": 1, "offset": 273.15}
    assert client.get("/v1").get_json()["units"] == "/v1/units"
