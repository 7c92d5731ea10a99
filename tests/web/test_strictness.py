"""What a client gets wrong is reported, never guessed; and the next good request gets a response all the same."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

POST = "/v1/pack-energy"
GOOD = {"cells": 6, "capacity": 1300}


def post(client: FlaskClient, body: bytes | str, path: str = POST) -> TestResponse:
    return client.post(path, data=body, content_type="application/json")


def output(answer: TestResponse) -> dict[str, str]:
    """Return the errors by pointer."""
    return {error["pointer"]: error["detail"] for error in answer.get_json()["errors"]}


@pytest.fixture(autouse=True)
def still_answers(client: FlaskClient) -> Any:
    """After each of these requests a good one gets a response."""
    yield
    assert client.post(POST, json=GOOD).get_json()["results"]["usable_energy"] == 23.088


NO_NUMBERS = [
    pytest.param("1_000", id="python's-underscore"),
    pytest.param("\uff11\uff12", id="full-width-digits"),
    pytest.param("\u0661\u0662", id="arabic-digits"),
    pytest.param("1,300", id="comma"),
    pytest.param("1 300", id="space-within"),
    pytest.param("0x10", id="hexadecimal"),
    pytest.param("1e", id="half-an-exponent"),
    pytest.param("1e999", id="overflow"),
    pytest.param("nan", id="nan"),
    pytest.param("inf", id="inf"),
    pytest.param("-Infinity", id="minus-infinity"),
    pytest.param("true", id="true"),
    pytest.param("", id="empty"),
    pytest.param(" ", id="blank"),
    pytest.param("--5", id="two-signs"),
    pytest.param("1.2.3", id="two-points"),
    pytest.param("9**9**9", id="an-expression"),
    pytest.param("1300 mAh*mAh", id="a-unit-that-is-an-expression"),
    pytest.param("1300 kV", id="a-unit-of-another-dimension"),
    pytest.param("1300 mAh\u0000", id="a-null-byte"),
]


@pytest.mark.parametrize("word", NO_NUMBERS)
def test_a_query_word_that_is_no_number_is_rejected(client: FlaskClient, word: str) -> None:
    for name, others in (("capacity", {"cells": "6"}), ("cells", {"capacity": "1300"})):
        answer = client.get(POST, query_string={name: word, **others})
        assert answer.status_code == 422, name
        assert list(output(answer)) == [f"/{name}"]


@pytest.mark.parametrize(
    "cell",
    [
        *NO_NUMBERS,
        pytest.param("1300", id="a-quoted-number"),
        pytest.param(True, id="boolean"),
        pytest.param(None, id="null"),
        pytest.param([1300], id="list"),
        pytest.param({"value": 1300}, id="object"),
        pytest.param(10**400, id="whole-number-beyond-floats"),
    ],
)
def test_a_json_value_that_is_no_number_is_rejected(client: FlaskClient, cell: object) -> None:
    for name in GOOD:
        answer = client.post(POST, json={**GOOD, name: cell})
        assert answer.status_code == 422, name
        assert list(output(answer)) == [f"/{name}"]


@pytest.mark.parametrize(
    ("path", "body", "pointer"),
    [
        pytest.param("/v1/mass-margin", {"masses": 5}, "/masses", id="number-for-a-list"),
        pytest.param("/v1/mass-margin", {"parts": [5]}, "/parts/0", id="number-for-an-object"),
        pytest.param("/v1/mass-margin", {"parts": [{"name": 5, "mass": 1}]}, "/parts/0/name", id="number-for-a-text"),
        pytest.param("/v1/mass-margin", {"parts": [{"name": 0.5, "mass": 1}]}, "/parts/0/name", id="float-for-a-text"),
    ],
)
def test_errors_speak_of_json_not_of_python(client: FlaskClient, path: str, body: object, pointer: str) -> None:
    detail = output(client.post(path, json=body))[pointer]
    assert detail.split()[0] not in ("int", "float", "str", "dict", "NoneType")


def test_a_whole_number_is_not_rounded(client: FlaskClient) -> None:
    assert client.post(POST, json={**GOOD, "cells": 6.5}).status_code == 422
    assert client.get(f"{POST}?cells=6.5&capacity=1300").status_code == 422
    assert client.post(POST, json={**GOOD, "cells": 6.0}).status_code == 200


@pytest.mark.parametrize(
    ("query", "pointer"),
    [
        pytest.param("cells=6&cells=6", "/cells", id="input-even-if-equal"),
        pytest.param("cells=6&digits=3&digits=3", "/digits", id="option"),
        pytest.param("cells=6&bogus=1&bogus=2", "/bogus", id="unknown"),
        pytest.param("cells=6&a%2Fb~=1&a%2Fb~=2", "/a~1b~0", id="name-that-a-pointer-must-escape"),
    ],
)
def test_a_name_twice_in_a_query_is_rejected(client: FlaskClient, query: str, pointer: str) -> None:
    for path in (POST, f"{POST}/usable_energy"):
        answer = client.get(f"{path}?{query}&capacity=1300")
        assert answer.status_code == 422
        errors = answer.get_json()["errors"]
        assert any(error["pointer"] == pointer and "2 times" in error["detail"] for error in errors)


@pytest.mark.parametrize(
    ("body", "says"),
    [
        pytest.param(b'{"cells": NaN, "capacity": 1}', "NaN", id="NaN"),
        pytest.param(b'{"cells": 6, "capacity": -Infinity}', "-Infinity", id="Infinity"),
        pytest.param(b'{"cells": 6, "cells": 6, "capacity": 1}', "cells", id="a-member-twice"),
        pytest.param(b'{"cells": 6, "a": {"b": 1, "b": 1}}', "'b'", id="a-nested-member-twice"),
        pytest.param(b"", "", id="empty"),
        pytest.param(b'{"cells": 6,}', "", id="trailing-comma"),
        pytest.param(b"{'cells': 6}", "", id="single-quotes"),
        pytest.param(b'{"cells": 06}', "", id="leading-zero"),
        pytest.param(b'{"cells": 6} {}', "", id="two-documents"),
        pytest.param(b'{"cells": 6', "", id="cut-off"),
        pytest.param(b'{"cells": "\x01"}', "", id="raw-control-character"),
        pytest.param(b'\xef\xbb\xbf{"cells": 6, "capacity": 1}', "", id="byte-order-mark"),
        pytest.param('{"cells": 6, "capacity": 1}'.encode("utf-16"), "", id="utf-16"),
        pytest.param('{"cells": "\u00b1"}'.encode("latin-1"), "", id="latin-1"),
        pytest.param(b"[" * 100_000 + b"]" * 100_000, "deep", id="100000-deep-list"),
        pytest.param(b'{"a":' * 100_000 + b"1" + b"}" * 100_000, "deep", id="100000-deep-object"),
        pytest.param(b'{"cells": ' + b"9" * 100_000 + b"}", "", id="100000-digits"),
    ],
)
def test_what_is_not_json_is_a_400_that_says_so(client: FlaskClient, body: bytes, says: str) -> None:
    answer = post(client, body)
    problem = answer.get_json()
    assert answer.status_code == 400
    assert problem["type"] == "http://localhost/problems/malformed-request"
    assert says in problem["detail"]
    assert len(answer.data) < 1000


@pytest.mark.parametrize(
    "body",
    [
        pytest.param(b'{"cells": ' + b"9" * 100_000 + b"}", id="100000-digits"),
        pytest.param(b"\xef\xbb\xbf{}", id="byte-order-mark"),
    ],
)
def test_malformed_json_is_not_explained_by_calls_of_python(client: FlaskClient, body: bytes) -> None:
    detail = post(client, body).get_json()["detail"]
    assert "sys." not in detail
    assert "decode using" not in detail


@pytest.mark.parametrize("body", [b"[]", b"5", b"null", b'"cells"', b"[{}]", b"true"])
def test_json_that_is_no_object_is_a_422_with_an_example(client: FlaskClient, body: bytes) -> None:
    answer = post(client, body)
    assert answer.status_code == 422
    (error,) = answer.get_json()["errors"]
    assert error["pointer"] == ""
    assert '"cells"' in error["accepted"]


def test_1e999_in_json_is_rejected(client: FlaskClient) -> None:
    answer = post(client, b'{"cells": 6, "capacity": 1e999}')
    assert answer.status_code == 422
    assert "finite" in output(answer)["/capacity"]


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        pytest.param("cels", "cells", id="misspelt"),
        pytest.param("Capacity", "capacity", id="capital"),
        pytest.param("pack-mass", "pack_mass", id="hyphen"),
        pytest.param("bogus", "", id="nothing-near"),
        pytest.param("", "", id="no-name-at-all"),
        pytest.param("c" * 5000, "", id="5000-letters"),
        pytest.param("__class__", "", id="dunder"),
    ],
)
def test_an_unknown_name_is_rejected_with_near_matches(client: FlaskClient, name: str, meant: str) -> None:
    by_post = client.post(POST, json={**GOOD, name: 1})
    by_get = client.get(POST, query_string={**{n: str(v) for n, v in GOOD.items()}, name: "1"})
    for answer in (by_post, by_get):
        assert answer.status_code == 422
        (error,) = answer.get_json()["errors"]
        assert "Unknown input" in error["detail"]
        assert (f"did you mean {meant}" in error["detail"]) == bool(meant)
        assert "capacity" in error["accepted"]
        assert len(answer.data) < 2000


@pytest.mark.parametrize(
    ("parts", "pointer"),
    [
        pytest.param([{"mass": 5, "name": "\ud800"}], "/parts/0/name", id="lone-surrogate"),
        pytest.param([{"mass": 5, "name": "a\u0000b"}], "/parts/0/name", id="null-character"),
        pytest.param([{"mass": 5, "name": "a\u2028b"}], "/parts/0/name", id="line-separator"),
        pytest.param([{"mass": 5, "name": ""}], "/parts/0/name", id="empty-name"),
        pytest.param([{"mass": 5, "name": "x" * 1_000_000}], "/parts/0/name", id="1-MB-name"),
        pytest.param([{"mass": -1}], "/parts/0/mass", id="negative-mass"),
        pytest.param([{"mass": "x" * 1_000_000}], "/parts/0/mass", id="1-MB-mass"),
        pytest.param([{"mass": 5, "count": 0}], "/parts/0/count", id="none-of-it"),
        pytest.param([{"name": "frame"}], "/parts/0/mass", id="no-mass"),
        pytest.param([{"mass": 5, "\ud800": 1}], "/parts/0/?", id="lone-surrogate-as-a-name"),
        pytest.param([], "/parts", id="empty-list"),
        pytest.param([{"mass": 5}] * 10_000, "/parts", id="10000-parts"),
        pytest.param({"mass": 5}, "/parts", id="object-for-a-list"),
        pytest.param(None, "/parts", id="null-for-a-list"),
    ],
)
def test_a_bad_parts_list_is_rejected_where_it_is_bad(client: FlaskClient, parts: object, pointer: str) -> None:
    answer = client.post("/v1/mass-margin", json={"parts": parts})
    assert answer.status_code == 422
    assert list(output(answer)) == [pointer]
    assert len(answer.data) < 2000


def test_a_thousand_errors_make_a_short_answer(client: FlaskClient) -> None:
    answer = client.post("/v1/mass-margin", json={"parts": [{"mass": -1, "bogus": 1}] * 500})
    assert answer.status_code == 422
    assert len(answer.get_json()["errors"]) == 100
    assert len(answer.data) < 50_000
