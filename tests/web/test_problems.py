"""Every error of every route is one body, application/problem+json (RFC 9457), that shows every error."""

from __future__ import annotations

import json
import logging
import re
from collections.abc import Iterator
from typing import Any, NoReturn
from urllib.parse import quote

import pytest
from flask.testing import FlaskClient
from werkzeug.routing import Rule
from werkzeug.test import TestResponse

from gramwatt.engine.calculate import get_calculator
from gramwatt.web import create_app
from gramwatt.web.openapi.shared import SCHEMAS
from gramwatt.web.problems import PROBLEM_TYPES

GOOD = {"cells": 6, "capacity": 1300}
PACK = "/v1/pack-energy?cells=6&capacity=1300"
PRINTABLE = re.compile(SCHEMAS["Problem"]["properties"]["detail"]["pattern"])
LONGEST_POINTER = SCHEMAS["InputError"]["properties"]["pointer"]["maxLength"]
LONGEST_GIVEN = SCHEMAS["InputError"]["properties"]["given"]["maxLength"]


def problem(client: FlaskClient, answer: TestResponse, status: int, kind: str) -> Any:
    """Return the problem of a result, after checking what holds for every problem."""
    assert answer.status_code == status, answer.text[:500]
    assert answer.content_type == "application/problem+json"
    assert "<" not in answer.text[:1]
    made = json.loads(answer.data)
    assert list(made)[:5] == ["type", "title", "status", "detail", "instance"]
    assert set(made) <= {"type", "title", "status", "detail", "instance", "errors"}
    assert made["type"] == f"http://localhost/problems/{kind}"
    assert made["status"] == status
    assert made["title"] == PROBLEM_TYPES[kind].title
    assert made["instance"] == f"urn:uuid:{answer.headers['X-Request-ID']}"
    assert made["detail"]
    assert len(made["detail"]) <= 2000
    assert "Traceback" not in answer.text
    assert client.get(made["type"]).status_code == 200
    for error in made.get("errors", ()):
        assert list(error) == ["pointer", "detail", "given", "accepted"]
        assert error["pointer"] == "" or error["pointer"].startswith("/")
        assert error["detail"]
        assert error["accepted"]
    return made


def rules() -> list[Rule]:
    return list(create_app().url_map.iter_rules())


def path_of(rule: Rule) -> str:
    """Return a path that the rule takes."""
    name = "flight-log" if rule.rule.endswith("/log") else "pack-energy"
    path = rule.rule.replace("<calculator_name>", name).replace("<result>", "usable_energy")
    path = path.replace("<kind>", "invalid-input").replace("<path:filename>", "page.css")
    path = path.replace("<version>", "1.0").replace("<operation_id>", "list_units").replace("<schema_name>", "Problem")
    assert "<" not in path, f"give this test a path for {path}"
    return path


ROUTES = sorted({path_of(rule) for rule in rules()})
POSTED = (
    *(f"/v1/pack-energy{path}" for path in ("", "/batch", "/sweep", "/chart")),
    *("/v1/flight-log/log", "/calculators/pack-energy"),
    *(f"/calculators/pack-energy/{page}" for page in ("frame", "download")),
)


@pytest.mark.parametrize("method", ["PUT", "PATCH", "DELETE", "TRACE", "QUERY", "NONSENSE"])
@pytest.mark.parametrize("path", ROUTES)
def test_a_wrong_method_on_any_route(client: FlaskClient, path: str, method: str) -> None:
    answer = client.open(path, method=method)
    problem(client, answer, 405, "method-not-allowed")
    allowed = {word.strip() for word in answer.headers["Allow"].split(",")}
    reading = set() if path.endswith(("/batch", "/log", "/download")) else {"GET", "HEAD"}
    assert allowed == {"OPTIONS"} | reading | ({"POST"} if path in POSTED else set())


@pytest.mark.parametrize("path", [path for path in ROUTES if path not in POSTED])
def test_a_post_where_only_get_is(client: FlaskClient, path: str) -> None:
    problem(client, client.post(path, json={}), 405, "method-not-allowed")


@pytest.mark.parametrize(
    "path",
    [
        *(
            "/nothing",
            "/v2",
            "/v1/pack-energy/usable_energy/more",
            "/v1//pack-energy",
            "/docs/nothing",
            "/static/no.css",
        ),
        *(
            "/problems/nothing",
            "/../etc/passwd",
            "/docs/%2e%2e/%2e%2e/site.py",
            "/static/..%2fsite.py",
            "/favicon.icon",
        ),
    ],
)
def test_an_unknown_path(client: FlaskClient, path: str) -> None:
    problem(client, client.get(path), 404, "not-found")


@pytest.mark.parametrize(
    ("path", "kind", "meant"),
    [
        pytest.param("/v1/pack-energi", "unknown-calculator", "pack-energy", id="calculator-misspelt"),
        pytest.param("/v1/PACK_ENERGY", "unknown-calculator", "pack-energy", id="calculator-in-snake-case"),
        pytest.param("/v1/zzz", "unknown-calculator", "Choose air-density", id="nothing-near-lists-all"),
        pytest.param("/v1/pack-energi/usable_energy", "unknown-calculator", "pack-energy", id="with-result"),
        pytest.param("/v1/pack-energy/usable-energy", "unknown-result", "usable_energy", id="result-in-kebab-case"),
        pytest.param(
            "/v1/pack-energy/zzz", "unknown-result", "Its results are usable_energy", id="no-such-result-lists-all"
        ),
        pytest.param("/v1/pack-energy/" + "z" * 5000, "unknown-result", "usable_energy", id="5000-letters"),
    ],
)
def test_an_unknown_calculator_or_result_tells_near_ones(client: FlaskClient, path: str, kind: str, meant: str) -> None:
    made = problem(client, client.get(path), 404, kind)
    assert meant in made["detail"]
    assert len(made["detail"]) < 1000


@pytest.mark.parametrize("accept", ["image/png", "application/xml", "text/html", ";;;", "text/csv;q=0", "a/b, c"])
@pytest.mark.parametrize("path", [PACK, "/v1", PACK.replace("?", "/usable_energy?")])
def test_an_accept_that_cannot_be_met(client: FlaskClient, path: str, accept: str) -> None:
    made = problem(client, client.get(path, headers={"Accept": accept}), 406, "not-acceptable")
    assert "text/plain" in made["detail"] or "application/json" in made["detail"]


@pytest.mark.parametrize(
    "headers",
    [
        pytest.param({"Content-Type": "text/plain"}, id="text"),
        pytest.param({"Content-Type": "application/x-www-form-urlencoded"}, id="form"),
        pytest.param({"Content-Type": "application/jsonp"}, id="almost-json"),
        pytest.param({}, id="no-type"),
        pytest.param({"Content-Type": "\u00e9\u0085<b>"}, id="garbage"),
    ],
)
def test_a_body_of_another_type(client: FlaskClient, headers: dict[str, str]) -> None:
    answer = client.post("/v1/pack-energy", data=b'{"cells": 6, "capacity": 1300}', headers=headers)
    made = problem(client, answer, 415, "unsupported-media-type")
    assert "application/json" in made["detail"]
    assert PRINTABLE.fullmatch(made["detail"])


def test_a_json_body_with_a_charset_is_read(client: FlaskClient) -> None:
    kind = "application/json; charset=utf-8"
    assert client.post("/v1/pack-energy", data=json.dumps(GOOD), content_type=kind).status_code == 200


def test_malformed_json(client: FlaskClient) -> None:
    answer = client.post("/v1/pack-energy", data=b"{", content_type="application/json")
    problem(client, answer, 400, "malformed-request")


def test_a_body_over_the_limit(client: FlaskClient) -> None:
    body = json.dumps(GOOD).encode() + b" " * 1024 * 1024
    answer = client.post("/v1/pack-energy", data=body, content_type="application/json")
    made = problem(client, answer, 413, "too-large")
    assert "1048576" in made["detail"]


def test_a_body_of_just_the_limit_is_read(client: FlaskClient) -> None:
    body = json.dumps(GOOD).encode().ljust(1024 * 1024)
    assert client.post("/v1/pack-energy", data=body, content_type="application/json").status_code == 200


@pytest.mark.parametrize("path", ["/", "/v1", PACK, "/nothing"])
def test_a_url_over_the_limit(client: FlaskClient, path: str) -> None:
    answer = client.get(f"{path}{'&' if '?' in path else '?'}x={'1' * 8000}")
    made = problem(client, answer, 414, "uri-too-long")
    assert "POST" in made["detail"]


def test_a_range_beyond_a_file(client: FlaskClient) -> None:
    """RFC 9110, 15.5.17; at the smallest no 5xx and no page."""
    answer = client.get("/static/page.css", headers={"Range": "bytes=99999999-"})
    assert answer.status_code in (200, 416)


def test_every_error_is_reported_at_once(client: FlaskClient) -> None:
    """A misspelt name, two values out of bounds, one missing, a bad option, and an input twice."""
    url = "/v1/pack-current?cells=0&capacity=-5&chemistri=lipo&digits=99&reserv=1&reserv=2&units=pack_current:kg"
    made = problem(client, client.get(url), 422, "invalid-input")
    found = {error["pointer"] for error in made["errors"]}
    assert found == {"/cells", "/capacity", "/pack_power", "/chemistri", "/digits", "/reserv", "/units"}
    assert made["detail"].startswith(f"{len(made['errors'])} errors: ")
    capacity = next(error for error in made["errors"] if error["pointer"] == "/capacity")
    assert capacity["given"] == "-5"
    assert "at least 1" in capacity["detail"]
    assert "mAh" in capacity["accepted"]
    assert "Ah" in capacity["accepted"]
    missing = next(error for error in made["errors"] if error["pointer"] == "/pack_power")
    assert missing["given"] is None
    assert "required" in missing["detail"]


def test_every_wrong_unit_of_a_result_is_reported(client: FlaskClient) -> None:
    made = problem(client, client.get(f"{PACK}&units=nothing:kJ,usable_energy:lb,broken"), 422, "invalid-input")
    text = " ".join(error["detail"] for error in made["errors"])
    assert all(word in text for word in ("nothing", "usable_energy", "broken"))


def test_every_error_of_a_table_has_its_own_pointer(client: FlaskClient) -> None:
    body = {"parts": [{"mass": -1}, {"mass": 5, "count": 0}, 7, {"mas": 1}], "mass_limit": True}
    made = problem(client, client.post("/v1/mass-margin", json=body), 422, "invalid-input")
    found = {error["pointer"] for error in made["errors"]}
    assert found == {"/parts/0/mass", "/parts/1/count", "/parts/2", "/parts/3/mas", "/parts/3/mass", "/mass_limit"}


def test_at_most_a_hundred_errors_are_listed_and_all_are_counted(client: FlaskClient) -> None:
    body = {"parts": [{"mass": -1}] * 150}
    made = problem(client, client.post("/v1/mass-margin", json=body), 422, "invalid-input")
    assert len(made["errors"]) == 100
    assert made["detail"].startswith("150 errors")


HOSTILE = [
    pytest.param("a/b~c", "/a~1b~0c", id="pointer-escapes"),
    pytest.param("<script>alert(1)</script>", "/<script>alert(1)<~1script>", id="markup-is-only-text"),
    pytest.param("line\nfeed", None, id="newline"),
    pytest.param("nul\x00", None, id="null"),
    pytest.param("n" * 600, None, id="600-letters"),
]


@pytest.mark.parametrize(("name", "pointer"), HOSTILE)
@pytest.mark.parametrize("where", ["body", "query", "query twice", "query of a POST", "path"])
def test_what_a_client_made_up_is_reported_short_and_printable(
    client: FlaskClient, name: str, pointer: str | None, where: str
) -> None:
    """As the contract says of detail, pointer and given."""
    word = f"{quote(name, safe='')}={'z' * 600}"
    answer = {
        "body": lambda: client.post("/v1/pack-energy", json={**GOOD, name: "z" * 600}),
        "query": lambda: client.get(f"{PACK}&{word}"),
        "query twice": lambda: client.get(f"{PACK}&{word}&{word}"),
        "query of a POST": lambda: client.post(f"/v1/pack-energy?{word}", json=GOOD),
        "path": lambda: client.get(f"/{quote(name, safe='')}"),
    }[where]()
    made = problem(client, answer, *((404, "not-found") if where == "path" else (422, "invalid-input")))
    assert PRINTABLE.fullmatch(made["detail"])
    for error in made.get("errors", ()):
        assert PRINTABLE.fullmatch(error["detail"])
        assert len(error["pointer"]) <= LONGEST_POINTER
        assert len(error["given"]) <= LONGEST_GIVEN
        assert pointer in (None, error["pointer"])


@pytest.fixture
def broken() -> Iterator[FlaskClient]:
    """Return an application whose pack-energy raises."""

    def pack_energy(given: Any) -> NoReturn:
        raise ZeroDivisionError("secret of the formula")

    calculator = get_calculator("pack-energy")
    formula = calculator.formula
    object.__setattr__(calculator, "formula", pack_energy)
    try:
        yield create_app().test_client()
    finally:
        object.__setattr__(calculator, "formula", formula)


def test_a_error_of_ours_is_a_500_without_its_trace_and_is_logged_with_its_id(
    broken: FlaskClient, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.ERROR):
        answer = broken.get(PACK)
    made = problem(broken, answer, 500, "internal-error")
    assert "secret" not in answer.text
    assert ".py" not in answer.text
    (record,) = [record for record in caplog.records if record.levelno == logging.ERROR]
    assert made["instance"].removeprefix("urn:uuid:") in record.getMessage()
    assert record.exc_info is not None
    assert "secret of the formula" in str(record.exc_info[1])
    assert answer.headers["Cache-Control"] == "no-store"
    assert answer.headers["Access-Control-Allow-Origin"] == "*"
    problem(broken, broken.post(PACK.partition("?")[0], json={"cells": 6, "capacity": 1300}), 500, "internal-error")
    assert broken.get("/v1/throttle-cap?kv=2400&cells=6").status_code == 200, "others still answer"


def test_a_error_of_ours_reaches_a_cell_as_text(broken: FlaskClient) -> None:
    answer = broken.get(PACK.replace("?", "/usable_energy?") + "&errors=text")
    assert answer.status_code == 200
    assert answer.text.startswith("#ERR internal-error: ")
    assert "secret" not in answer.text
