"""Sweeps over HTTP: one input or two varied, by query and by body, and the best of their points."""

from __future__ import annotations

import json
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from engine.tables.table_helpers import FORMATS, decode_rows
from gramwatt.engine import registry

SWEEP = "/v1/pack-energy/sweep"
CURRENT = "/v1/pack-current/sweep"
ONE_CELL = {"values": [1]}
Row = dict[str, Any]


def rows(answer: TestResponse) -> list[Row]:
    assert answer.status_code == 200, answer.text
    assert answer.content_type == "application/json"
    return decode_rows(answer.data, "json")


def post(client: FlaskClient, body: object, query: str = "", sweep: str = SWEEP) -> TestResponse:
    """Names in the order of the body: the client's own way would sort them."""
    return client.post(sweep + query, data=json.dumps(body), content_type="application/json")


def pointers(answer: TestResponse) -> list[str]:
    assert answer.status_code == 422, answer.text
    assert answer.json is not None
    assert answer.json["type"] == "http://localhost/problems/invalid-input"
    return [error["pointer"] for error in answer.json["errors"]]


def column(made: list[Row], name: str) -> list[Any]:
    return [row.get(name) for row in made]


@pytest.mark.parametrize(
    ("query", "body"),
    [
        pytest.param(
            "vary=cells&values=2,3,4&capacity=1300",
            {"given": {"capacity": 1300}, "vary": {"cells": {"values": [2, 3, 4]}}},
            id="list",
        ),
        pytest.param(
            "vary=capacity&from=1000&to=2000&count=5&cells=6",
            {"given": {"cells": 6}, "vary": {"capacity": {"from": 1000, "to": 2000, "count": 5}}},
            id="range",
        ),
        pytest.param(
            "vary=capacity&from=1+Ah&to=2000+mAh&count=3&cells=6&reserve=10+%25",
            {
                "given": {"cells": 6, "reserve": "10 %"},
                "vary": {"capacity": {"from": "1 Ah", "to": "2 Ah", "count": 3}},
            },
            id="units",
        ),
        pytest.param(
            "vary=chemistry&vary=cells&values=lipo,li-ion&from=2&to=4&count=3&capacity=1300",
            {
                "given": {"capacity": 1300},
                "vary": {"chemistry": {"values": ["lipo", "li-ion"]}, "cells": {"from": 2, "to": 4, "count": 3}},
            },
            id="list-and-range",
        ),
        pytest.param(
            "vary=cells&vary=reserve&from=2&to=4&count=3&from=0&to=50&count=2&capacity=1300",
            {
                "given": {"capacity": 1300},
                "vary": {"cells": {"from": 2, "to": 4, "count": 3}, "reserve": {"from": 0, "to": 50, "count": 2}},
            },
            id="two-ranges",
        ),
    ],
)
@pytest.mark.parametrize("form", FORMATS)
def test_query_and_body_give_the_same_table(client: FlaskClient, query: str, body: object, form: str) -> None:
    by_query = client.get(f"{SWEEP}?{query}&format={form}")
    by_body = post(client, body, f"?format={form}")
    assert by_query.status_code == by_body.status_code == 200, by_query.text
    assert by_query.data == by_body.data
    assert not any(row.get("error") for row in decode_rows(by_query.data, form))


def test_a_point_is_computed_as_the_request_alone(client: FlaskClient) -> None:
    """Each point, its inputs put into the plain request."""
    made = rows(
        client.get(f"{CURRENT}?vary=pack_power&vary=cells&from=50&to=350&count=4&values=&values=4,6&capacity=1300")
    )
    assert len(made) == 8
    for row in made:
        alone = client.post(
            "/v1/pack-current", json={"capacity": 1300, "cells": row["cells"], "pack_power": row["pack_power"]}
        )
        assert alone.json is not None
        results = alone.json["results"]
        assert {name: row[name] for name in results} == results


@pytest.mark.parametrize(
    ("start", "stop", "ends"),
    [
        pytest.param("0.1", "0.7", (0.1, 0.7), id="no-exact-doubles"),
        pytest.param("399.99", "1e-3", (399.99, 0.001), id="downwards"),
        pytest.param("10+W", "0.4+kW", (10.0, 400.0), id="two-units"),
        pytest.param("0.01+kW", "400", (10.0, 400.0), id="one-unit"),
        pytest.param("7", "7", (7.0, 7.0), id="the-same"),
    ],
)
def test_ends_are_exactly_as_given(client: FlaskClient, start: str, stop: str, ends: tuple[float, float]) -> None:
    """Of one end with a unit and one without, the second is in the declared unit too."""
    made = rows(client.get(f"{CURRENT}?vary=pack_power&from={start}&to={stop}&count=7&cells=6&capacity=1300"))
    powers = column(made, "pack_power")
    assert (powers[0], powers[-1]) == ends
    step = (ends[1] - ends[0]) / 6
    assert powers == pytest.approx([ends[0] + at * step for at in range(7)], rel=1e-11)


def test_the_last_varied_is_fastest(client: FlaskClient) -> None:
    made = rows(client.get(f"{SWEEP}?vary=capacity&vary=cells&values=1000,2000,3000&values=2,3"))
    assert [(row["capacity"], row["cells"]) for row in made] == [
        *((1000, 2), (1000, 3), (2000, 2), (2000, 3), (3000, 2), (3000, 3))
    ]
    assert list(made[0])[:2] == ["capacity", "cells"], "in the order they were varied"


def test_a_single_value_of_a_varied_input_is_not_used(client: FlaskClient) -> None:
    made = rows(client.get(f"{SWEEP}?vary=cells&from=2&to=4&count=3&cells=6&capacity=1300"))
    assert column(made, "cells") == [2, 3, 4]


def test_points_out_of_bounds_tell_it_and_the_others_stand(client: FlaskClient) -> None:
    made = rows(client.get(f"{SWEEP}?vary=cells&from=23&to=26&count=4&capacity=1300"))
    assert column(made, "usable_energy") == [88.504, 92.352, None, None]
    assert [row["error"]["row"] for row in made if "error" in row] == [3, 4]
    assert made[2]["error"]["errors"][0] == {
        "pointer": "/cells",
        "detail": "Must be from 1 to 24",
        "given": 25,
        "accepted": "a whole number from 1 to 24, also as 4S",
    }


@pytest.mark.parametrize(("first", "last"), [(1000, "2 Ah"), ("1 Ah", 2000), (1000, 2000)])
def test_an_end_without_a_unit_is_in_the_declared_one(client: FlaskClient, first: object, last: object) -> None:
    made = rows(post(client, {"given": {"cells": 6}, "vary": {"capacity": {"from": first, "to": last, "count": 3}}}))
    assert column(made, "capacity") == [1000, 1500, 2000]


def test_points_between_whole_numbers_tell_it(client: FlaskClient) -> None:
    made = rows(client.get(f"{SWEEP}?vary=cells&from=2&to=3&count=3&capacity=1300"))
    assert [("error" in row) for row in made] == [False, True, False]


def test_a_missing_input_is_reported_by_every_point(client: FlaskClient) -> None:
    made = rows(client.get(f"{SWEEP}?vary=cells&values=2,3"))
    assert [row["error"]["errors"][0]["pointer"] for row in made] == ["/capacity"] * 2


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        pytest.param("vary=cels&values=2,3&capacity=1300", ["/cels"], id="no-input"),
        pytest.param("vary=cells&values=2,3&capacity=1300&nope=1", ["/nope"], id="unknown-constant"),
        pytest.param("vary=cells&values=2,3&capacity=x", ["/capacity"], id="bad-constant"),
        pytest.param("cells=2&capacity=1300", ["/vary"], id="nothing-varied"),
        pytest.param(
            "vary=cells&vary=capacity&vary=pack_power&values=1,2&values=3,4&values=5,6", ["/vary"], id="three-axes"
        ),
        pytest.param("vary=cells&capacity=1300&to=3&count=3", ["/from"], id="no-from"),
        pytest.param("vary=cells&capacity=1300&from=3", ["/count", "/to"], id="no-to-nor-count"),
        pytest.param("vary=capacity&cells=6&from=-1e308&to=1e308&count=3", ["/from", "/to"], id="ends-too-far"),
        pytest.param("vary=cells&capacity=1300&from=1&to=3&count=1", ["/count"], id="one-point"),
        pytest.param("vary=cells&capacity=1300&from=1&to=3&count=2.5", ["/count"], id="no-whole-count"),
        pytest.param("vary=cells&capacity=1300&from=1&to=3&count=501", ["/count"], id="too-many-points"),
        pytest.param("vary=cells&capacity=1300&values=" + ",".join("1" * 501), ["/cells"], id="too-long-a-list"),
        pytest.param("vary=pack_power&from=10+kg&to=x&count=3&cells=6", ["/from", "/to"], id="bad-ends"),
        pytest.param("vary=pack_power&from=10±1&to=20&count=3&cells=6", ["/from"], id="an-end-with-uncertainty"),
        pytest.param("vary=chemistry&from=lipo&to=lihv&count=2&cells=6", ["/chemistry"], id="a-choice-has-no-range"),
        pytest.param("vary=cells&values=2,3&from=1&capacity=1300", ["/from"], id="a-range-of-nothing"),
        pytest.param("vary=cells&values=2,3&capacity=1300&capacity=1", ["/capacity"], id="twice"),
        pytest.param("vary=cells&values=2,3&capacity=1300&best=0", ["/best"], id="best-of-none"),
        pytest.param("vary=cells&values=2,3&capacity=1300&best=1&by=curent", ["/by"], id="no-result"),
        pytest.param("vary=cells&values=2,3&capacity=1300&units=pack_current:kg", ["/units"], id="units"),
        pytest.param("vary=cells&values=2,3&capacity=1300&format=xml", ["/format"], id="format"),
    ],
)
def test_a_bad_query_points_at_its_errors(client: FlaskClient, query: str, expected: list[str]) -> None:
    assert pointers(client.get(f"{CURRENT}?{query}")) == expected


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        pytest.param([1], [""], id="a-list"),
        pytest.param({"given": [1], "vary": {"cells": ONE_CELL}}, ["/given"], id="given-is-a-list"),
        pytest.param({"given": {}, "vary": 2}, ["/vary", "/vary"], id="vary-is-a-number"),
        pytest.param({"vary": {"cells": ONE_CELL}, "cells": 2, "a/b": 3}, ["/cells", "/a~1b"], id="unknown-members"),
        pytest.param({"given": {"cels": 6}, "vary": {"cells": ONE_CELL}}, ["/given/cels"], id="unknown-constant"),
        pytest.param({"given": {"reserve": "x"}, "vary": {"cells": ONE_CELL}}, ["/given/reserve"], id="bad-constant"),
        pytest.param({"given": {"cells": "x"}, "vary": {"cells": ONE_CELL}}, ["/given/cells"], id="bad-and-not-used"),
        pytest.param({"vary": {"cels": {"values": [6]}}}, ["/vary/cels"], id="unknown-axis"),
        pytest.param({"vary": {"cells": {"values": []}}}, ["/vary/cells"], id="no-points"),
        pytest.param({"vary": {"cells": {"values": [1] * 501}}}, ["/vary/cells"], id="too-many-points"),
        pytest.param({"vary": {"cells": "1,2"}}, ["/vary/cells"], id="words-for-a-list"),
        pytest.param({"vary": {"cells": {"from": 1, "to": 2}}}, ["/vary/cells"], id="no-count"),
        pytest.param({"vary": {"cells": {"from": 1, "to": None, "count": 2}}}, ["/vary/cells/to"], id="null-end"),
        pytest.param({"vary": {"cells": {"from": 1, "to": 2, "count": True}}}, ["/vary/cells/count"], id="true-count"),
        pytest.param({"vary": {"cells": {"from": "1", "to": 2, "count": 2}}}, ["/vary/cells/from"], id="word-for-end"),
        pytest.param({}, ["/vary"], id="nothing"),
    ],
)
def test_a_bad_body_points_at_its_errors(client: FlaskClient, body: object, expected: list[str]) -> None:
    assert pointers(post(client, body)) == expected


def test_inputs_in_the_query_of_a_post_are_rejected(client: FlaskClient) -> None:
    body = {"given": {"capacity": 1300}, "vary": {"cells": {"values": [2]}}}
    assert pointers(post(client, body, "?cells=2&vary=cells")) == ["/cells", "/vary"]


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        pytest.param("best=2", [4, 3], id="by-the-headline"),
        pytest.param("best=2&by=nominal_energy", [4, 3], id="by-another"),
        pytest.param("best=2&ascending=true", [1, 2], id="ascending"),
        pytest.param("best=9", [4, 3, 2, 1], id="more-than-there-are"),
        pytest.param("best=3&by=usable_charge", [3, 1, 4], id="of-equals-the-earlier"),
        pytest.param("best=3&by=specific_energy", [], id="none-has-an-answer"),
    ],
)
def test_the_best_points(client: FlaskClient, query: str, expected: list[int]) -> None:
    """The point of 99 cells has an error and is never among them."""
    made = client.get(f"{SWEEP}?vary=cells&values=3,1,99,4,2&capacity=1300&{query}")
    assert column(rows(made), "cells") == expected


def test_the_best_of_a_large_grid(client: FlaskClient) -> None:
    """250,000 points: what is preserved of each part of the grid is the best of the whole."""
    inputs = {"capacity": {"from": 2000, "to": 1000, "count": 500}, "reserve": {"from": 0, "to": 90, "count": 500}}
    made = rows(post(client, {"given": {"cells": 6}, "vary": inputs}, "?best=3&ascending=true"))
    least = [22.2 * 1.0 * 0.1, 22.2 * (1000 + 1000 / 499) / 1000 * 0.1]
    assert column(made, "usable_energy")[:2] == pytest.approx(least, rel=1e-9)


def test_options_of_tables(client: FlaskClient) -> None:
    made = client.get(f"{SWEEP}?vary=capacity&values=1+Ah,2+Ah&cells=6&format=csv&decimal=,&units=usable_energy:kJ")
    lines = made.text.split("\r\n")
    assert lines[0].startswith("capacity [mAh];usable_energy [kJ];")
    assert lines[1].startswith("1000,0;63,936;")
    assert made.headers["Standing-Cautions"].split(", ") == ["lithium-fire", "charge-and-store", "ask-airline"]


def test_inputs_come_back_once(client: FlaskClient) -> None:
    (row,) = rows(client.get(f"{SWEEP}?vary=cells&values=6,&capacity=1300&given=true&best=1"))
    assert list(row)[:6] == ["cells", "capacity", "parallel_cells", "chemistry", "reserve", "pack_mass"]


def test_a_sweep_by_query_may_be_preserved(client: FlaskClient) -> None:
    url = f"{SWEEP}?vary=cells&values=2,3&capacity=1300"
    first = client.get(url)
    tag = first.headers["ETag"]
    assert "max-age" in first.headers["Cache-Control"]
    again = client.get(url, headers={"If-None-Match": tag})
    assert (again.status_code, again.data, again.headers["ETag"]) == (304, b"", tag)
    assert client.get(url + "&format=csv").headers["ETag"] != tag
    assert client.get(url, headers={"Accept": "text/csv"}).headers["ETag"] != tag
    head = client.head(url)
    assert (head.status_code, head.data, head.headers["ETag"]) == (200, b"", tag)
    posted = post(client, {"given": {"capacity": 1300}, "vary": {"cells": {"values": [2, 3]}}})
    assert posted.headers["Cache-Control"] == "no-store"
    assert "ETag" not in posted.headers


def test_errors_as_text_for_a_spreadsheet(client: FlaskClient) -> None:
    made = client.get(f"{SWEEP}?vary=cels&values=2,3&capacity=1300&format=csv&errors=text")
    assert made.status_code == 200
    assert made.text.startswith("#ERR invalid-input: cels: ")


def test_a_calculator_of_tables_is_swept_by_post_alone(client: FlaskClient) -> None:
    raised = client.get("/v1/build/sweep?vary=kv&values=1,2")
    assert (raised.status_code, raised.headers["Allow"]) == (405, "POST, OPTIONS")
    assert raised.json is not None
    assert '{"dry_mass": 337, ' in raised.json["detail"]
    given = registry.load()["build"].examples[-1].given
    made = rows(
        post(client, {"given": given, "vary": {"avionics_power": {"values": [2, "8 W"]}}}, sweep="/v1/build/sweep")
    )
    for row in made:
        alone = client.post("/v1/build", json={**given, "avionics_power": row["avionics_power"]})
        assert alone.json is not None
        assert row["longest_endurance"] == alone.json["results"]["longest_endurance"]


def test_its_axes_are_shorter(client: FlaskClient) -> None:
    """Each of its points is a request of its own."""
    given = registry.load()["build"].examples[-1].given
    made = post(client, {"given": given, "vary": {"avionics_power": {"values": [1] * 21}}}, sweep="/v1/build/sweep")
    assert pointers(made) == ["/vary/avionics_power"]
