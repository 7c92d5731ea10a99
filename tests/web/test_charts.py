"""Pictures over HTTP: of answers and of sweeps, in their formats, and the message where there is none."""

from __future__ import annotations

import json
import re
import struct
import xml.etree.ElementTree as ET
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from gramwatt.charts import sweep_charts
from gramwatt.charts.chart_data import Graph, HeatMap
from gramwatt.charts.draw import PIXELS_PER_INCH
from gramwatt.charts.themes import SHAPES
from gramwatt.engine import registry
from gramwatt.engine.query_strings import fits_query
from gramwatt.engine.tables import sweep

INPUTS = "cells=6&capacity=1300&pack_power=700"
CHART = f"/v1/pack-current/chart?{INPUTS}"
SWEPT = "/v1/endurance/chart?cells=6&capacity=1300&vary=mean_power&from=50&to=400&count=8"
MAPPED = f"{SWEPT}&vary=capacity&from=500&to=3000&count=6".replace("capacity=1300&", "")
IMG = "image/avif,image/webp,image/apng,image/svg+xml,image/*,*/*;q=0.8"


def pointers(answer: TestResponse) -> list[str]:
    assert answer.status_code == 422, answer.text
    assert answer.json is not None
    return [error["pointer"] for error in answer.json["errors"]]


def output(answer: TestResponse) -> str:
    """Return what an SVG says of itself."""
    assert answer.status_code == 200, answer.text
    return ET.fromstring(answer.data)[1].text or ""


def size(answer: TestResponse) -> tuple[int, int]:
    assert answer.data.startswith(b"\x89PNG")
    width, height = struct.unpack(">II", answer.data[16:24])
    return int(width), int(height)


@pytest.mark.parametrize(
    ("query", "accept", "media"),
    [
        pytest.param("", None, "image/svg+xml", id="nothing-said"),
        pytest.param("", "*/*", "image/svg+xml", id="anything"),
        pytest.param("", IMG, "image/svg+xml", id="an-img-of-a-browser"),
        pytest.param("", "image/png", "image/png", id="accept-png"),
        pytest.param("&format=png", IMG, "image/png", id="format-wins"),
        pytest.param("", "text/plain", "text/plain; charset=utf-8", id="in-words"),
        pytest.param("&format=txt", None, "text/plain; charset=utf-8", id="format-txt"),
    ],
)
def test_the_format(client: FlaskClient, query: str, accept: str | None, media: str) -> None:
    answer = client.get(CHART + query, headers={"Accept": accept} if accept else {})
    assert (answer.status_code, answer.content_type) == (200, media)
    assert answer.headers["Content-Security-Policy"].startswith("default-src 'none'")


def test_no_other_format_is_made_up(client: FlaskClient) -> None:
    assert client.get(CHART, headers={"Accept": "image/webp"}).status_code == 406
    assert pointers(client.get(f"{CHART}&format=gif")) == ["/format"]


def test_the_words_are_the_same_in_every_format(client: FlaskClient) -> None:
    words = client.get(f"{CHART}&format=txt").text.splitlines()
    assert words[0] == "Current and voltage against power"
    assert words[1] == output(client.get(CHART))
    assert words[1].encode("latin-1") in client.get(f"{CHART}&format=png").data, "tEXt is Latin-1 (PNG, 11.3.3.2)"


def test_a_picture_may_be_preserved(client: FlaskClient) -> None:
    first = client.get(CHART)
    assert first.headers["Cache-Control"] == "public, max-age=3600"
    again = client.get(CHART, headers={"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")
    other = client.get(f"{CHART}&theme=dark")
    assert other.headers["ETag"] != first.headers["ETag"]
    assert client.head(CHART).status_code == 200


def test_looks(client: FlaskClient) -> None:
    light, dark = client.get(CHART).text, client.get(f"{CHART}&theme=dark").text
    assert "#fbfaf7" in light
    assert "#15191b" in dark
    assert 'fill="#fbfaf7"' not in client.get(f"{CHART}&ground=clear").text.split("<text")[0]
    assert "Current and voltage against power" in words(client.get(CHART))
    assert "Current and voltage against power" not in words(client.get(f"{CHART}&title=false"))
    for shape, inches in SHAPES.items():
        for scale in (1, 3):
            picture = client.get(f"{CHART}&format=png&shape={shape}&scale={scale}")
            assert size(picture)[0] == round(inches * PIXELS_PER_INCH * scale)


def words(answer: TestResponse) -> list[str]:
    """Return the words that an SVG shows."""
    return [each.text or "" for each in ET.fromstring(answer.data).iter("{http://www.w3.org/2000/svg}text")]


@pytest.mark.parametrize("url", [CHART, MAPPED])
def test_one_svg_for_light_and_dark(client: FlaskClient, url: str) -> None:
    """It is the light one, with a dark colour for every light one that is in it: exactly those of the dark one."""
    light, dark, auto = (client.get(f"{url}&theme={theme}") for theme in ("light", "dark", "auto"))
    sheet = re.search(r"<style>@media \(prefers-color-scheme:dark\){(.*)}</style>", auto.text)
    assert sheet is not None
    assert auto.text.replace(sheet[0], "") == light.text
    turned = light.text
    for name, colour, other, value in re.findall(r'\[(\w+)="(#\w+)"\]{(\w+):(#\w+)}', sheet[1]):
        assert name == other
        turned = turned.replace(f'{name}="{colour}"', f'{name}="dark {value}"')
    digests = re.compile(r"\bw-[a-z][0-9a-f]{6,}")  # of what they name, colours included
    assert digests.sub("", turned.replace('"dark #', '"#')) == digests.sub("", dark.text)
    for answer in (auto, client.get(f"{url}&theme=auto", headers={"If-None-Match": auto.headers["ETag"]})):
        assert answer.headers["Content-Security-Policy"].startswith("default-src 'none'; style-src 'unsafe-inline';")
    assert "style-src" not in light.headers["Content-Security-Policy"]
    png = client.get(f"{url}&theme=auto&format=png").data
    assert png == client.get(f"{url}&format=png").data


def test_body_and_query_draw_the_same(client: FlaskClient) -> None:
    body = client.post("/v1/pack-current/chart", json={"cells": 6, "capacity": 1300, "pack_power": 700})
    assert body.data == client.get(CHART).data
    assert body.headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize("name", [n for n, c in registry.load().items() if not fits_query(c)])
def test_what_asks_for_a_table_is_drawn_by_post(client: FlaskClient, name: str) -> None:
    raised = client.get(f"/v1/{name}/chart")
    assert (raised.status_code, raised.headers["Allow"]) == (405, "POST, OPTIONS")
    example = dict(registry.load()[name].examples[0].given)
    drawn = client.post(f"/v1/{name}/chart", data=json.dumps(example), content_type="application/json")
    assert output(drawn)


@pytest.mark.parametrize(
    ("url", "reported_of"),
    [
        pytest.param(f"{CHART}&pack_power=9", ["/pack_power"], id="twice"),
        pytest.param(
            "/v1/pack-current/chart?cells=0&capacity=x", ["/pack_power", "/cells", "/capacity"], id="every-fault"
        ),
        pytest.param(f"{CHART}&theme=blue", ["/theme"], id="theme"),
        pytest.param(f"{CHART}&scale=9", ["/scale"], id="scale"),
        pytest.param(f"{CHART}&show=pack_current", ["/show"], id="show-without-a-sweep"),
        pytest.param(f"{CHART}&chart=current", ["/chart"], id="no-such-chart"),
        pytest.param(f"{SWEPT}&chart=cell-voltage-and-charge-over-the-flight", ["/chart"], id="chart-of-a-sweep"),
        pytest.param(f"{CHART}&from=1", ["/from", "/vary"], id="a-range-of-nothing"),
        pytest.param(f"{SWEPT}&show=ended_by", ["/show"], id="no-number"),
        pytest.param(f"{SWEPT}&show=endurance,endurance", ["/show"], id="a-result-twice"),
        pytest.param(f"{MAPPED}&show=endurance,mean_current", ["/show"], id="two-results-on-a-map"),
        pytest.param(
            "/v1/endurance/chart?cells=6&capacity=9&vary=mean_power&values=7", ["/mean_power"], id="one-point"
        ),
        pytest.param("/v1/mass-margin/chart?mass_limit=9&vary=masses&values=1,2", ["/masses"], id="a-list-on-an-axis"),
        pytest.param(f"{MAPPED}".replace("count=8", "count=200"), ["/mean_power"], id="too-fine-a-map"),
        pytest.param(f"{SWEPT}&units=endurance:kg", ["/units"], id="units"),
    ],
)
def test_what_is_wrong_is_named(client: FlaskClient, url: str, reported_of: list[str]) -> None:
    assert pointers(client.get(url)) == reported_of


def test_nothing_to_draw_says_why(client: FlaskClient) -> None:
    answer = client.get("/v1/endurance/chart?cells=6&capacity=1300&mean_power=90000")
    assert answer.status_code == 404
    assert answer.json is not None
    assert answer.json["type"] == "http://localhost/problems/no-result"
    assert "The most it can give" in answer.json["detail"]


def swept_sheet(name: str, inputs: dict[str, Any], *axes: sweep.Axis, show: str) -> Any:
    return sweep_charts.compute_chart(registry.load()[name], inputs, axes, [show], text=False, result_units={})


def answers(client: FlaskClient, url: str) -> list[dict[str, Any]]:
    return json.loads(client.get(url.replace("/chart", "/sweep")).data)  # type: ignore[no-any-return]


def test_a_line_is_the_sweep(client: FlaskClient) -> None:
    assert output(client.get(SWEPT)).startswith("As average power goes from 50 W to 400 W, flight time goes from ")
    rows = answers(client, SWEPT)
    made = swept_sheet(
        "endurance", {"cells": 6, "capacity": 1300}, sweep.Axis("mean_power", 8, 50, 400), show="endurance"
    )
    assert isinstance(made.body, Graph)
    (line,) = made.body.panels[0].lines
    assert line.x.tolist() == pytest.approx([row["mean_power"] for row in rows], rel=1e-12)
    assert line.y.tolist() == pytest.approx([row["endurance"] for row in rows], rel=1e-9)


def test_a_map_is_the_grid(client: FlaskClient) -> None:
    assert output(client.get(MAPPED)).startswith("Over average power and capacity, flight time is between ")
    rows = answers(client, MAPPED)
    axes = sweep.Axis("mean_power", 8, 50, 400), sweep.Axis("capacity", 6, 500, 3000)
    made = swept_sheet("endurance", {"cells": 6}, *axes, show="endurance")
    assert isinstance(made.body, HeatMap)
    by_place = {(row["mean_power"], row["capacity"]): row["endurance"] for row in rows}
    for i, up in enumerate(made.body.y):
        for j, across in enumerate(made.body.x):
            assert made.body.values[i, j] == pytest.approx(by_place[float(across), float(up)], rel=1e-9)


def test_a_choice_makes_a_line_for_each_of_its_words(client: FlaskClient) -> None:
    first = f"{SWEPT}&values=&vary=chemistry&values=lipo,li-ion"
    axes = "&vary=chemistry&values=lipo,li-ion&vary=mean_power&values="
    second = first.replace("vary=mean_power&", "").replace("&values=&vary=chemistry&values=lipo,li-ion", axes)
    for url in (first, second):
        words = output(client.get(url))
        assert "flight time with lipo goes from " in words
        assert "flight time with li-ion goes from " in words
    many = ",".join(["lipo"] * 7)
    assert pointers(client.get(f"{SWEPT}&values=&vary=chemistry&values={many}")) == ["/chemistry"]


def test_points_that_cannot_be_computed_are_gaps(client: FlaskClient) -> None:
    url = "/v1/endurance/chart?cells=6&capacity=1300&vary=mean_power&values=-5,100,abc,200"
    assert "from 100 W to 200 W" in output(client.get(url))
    for wrong in ("vary=mean_power&values=-5,-6", "vary=mean_power&values=abc,def&vary=reserve&values=10,20"):
        answer = client.get(f"/v1/endurance/chart?cells=6&capacity=1300&{wrong}")
        assert answer.status_code == 404, "no point on an axis"
    beyond = client.get("/v1/endurance/chart?cells=6&capacity=1300&vary=mean_power&values=90000,95000")
    assert "no result" in output(beyond)


def test_a_sweep_in_a_body(client: FlaskClient) -> None:
    body = {"given": {"cells": 6, "capacity": 1300}, "vary": {"mean_power": {"from": 50, "to": 400, "count": 8}}}
    assert output(client.post("/v1/endurance/chart", json=body)) == output(client.get(SWEPT))
    build = dict(registry.load()["build"].examples[0].given)
    fast = {name: value for name, value in build.items() if name != "throttle_cap"}
    answer = client.post(
        "/v1/build/chart?show=longest_endurance",
        data=json.dumps({"given": fast, "vary": {"throttle_cap": {"values": [50, 75, 100]}}}),
        content_type="application/json",
    )
    assert output(answer).startswith("As throttle cap goes from 50 % to 100 %")


def test_a_body_says_what_is_wrong_with_it(client: FlaskClient) -> None:
    answer = client.post("/v1/endurance/chart", json={"given": {"cells": 6}, "vary": {"mean_power": "much"}, "more": 1})
    assert set(pointers(answer)) == {"/more", "/vary/mean_power"}
    assert client.post("/v1/endurance/chart?cells=6", json={}).status_code == 422
    assert client.post("/v1/endurance/chart", data="{", content_type="application/json").status_code == 400


@pytest.mark.parametrize("power", [2.2250738585e-313, 1e-300, 1e-9, 1e5])
def test_numbers_of_any_size(client: FlaskClient, power: float) -> None:
    """A picture, or that there is none; never a failure."""
    for fmt in ("txt", "svg"):
        for name, load in (("endurance", "mean_power"), ("pack-current", "pack_power")):
            body = {load: power, "cells": 2, "capacity": 267851.6}
            assert client.post(f"/v1/{name}/chart?format={fmt}", json=body).status_code in (200, 404)


def test_several_results_stand_above_each_other(client: FlaskClient) -> None:
    made: Any = sweep_charts.compute_chart(
        registry.load()["pack-current"],
        {"cells": 6, "capacity": 1300, "cell_resistance": "8 +/- 1 mohm"},
        [sweep.Axis("pack_power", 5, 100, 500)],
        ["pack_current", "pack_heat_power"],
        text=False,
        result_units={"pack_heat_power": "kW"},
    )
    assert isinstance(made.body, Graph)
    assert [panel.label for panel in made.body.panels] == ["Pack current, A", "Heat in the pack, kW"]
    for panel in made.body.panels:
        line = panel.lines[0]
        assert line.range is not None
        assert (line.range.low < line.y).all()
        assert (line.y < line.range.high).all()


def test_methods(client: FlaskClient) -> None:
    assert client.delete(CHART).status_code == 405
    assert set(client.options(CHART).headers["Allow"].split(", ")) == {"GET", "HEAD", "OPTIONS", "POST"}
    assert client.options("/v1/build/chart").headers["Allow"] == "POST, OPTIONS"
