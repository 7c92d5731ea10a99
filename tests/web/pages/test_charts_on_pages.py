"""Tests of charts on pages: as images with their own URLs, or embedded."""

from __future__ import annotations

import base64
import math
import re
from typing import Any

import pytest
from flask.testing import FlaskClient

from gramwatt import extras
from gramwatt.charts import draw
from gramwatt.charts.calculator_charts import make_chart
from gramwatt.charts.chart_data import ChartData
from gramwatt.charts.chart_request import ChartRequest
from gramwatt.charts.draw import as_svg
from gramwatt.charts.themes import ChartStyle
from gramwatt.engine.calculate import evaluate_request
from gramwatt.engine.response import build_response
from gramwatt.model import (
    Calculator,
)
from gramwatt.web.pages import views
from gramwatt.web.pages.description import first_example
from web.pages.browser_page import (
    BROWSER,
    CALCULATORS,
    PARTS,
    Page,
    every_calculator,
    get,
    headline,
)

SOURCES = ("wide", "img", "src"), ("narrow", "source", "srcset")


@every_calculator
def test_each_chart_is_an_image_with_its_own_url(client: FlaskClient, calculator: Calculator[Any, Any]) -> None:
    """The page does not wait for it, and leaves the room that the chart at that address takes. Anybody may cache it."""
    page = get(client, f"/calculators/{calculator.name}")
    assert not page.find("svg")
    titles: dict[str, list[str]] = {}
    for shape, tag, attribute in SOURCES:
        for element, _ in page.find(tag):
            answer = client.get(element[attribute], headers={"Accept": "image/avif,image/webp,image/svg+xml,*/*;q=0.8"})
            assert (answer.status_code, answer.content_type) == (200, "image/svg+xml"), shape
            drawn = Page(answer.text)
            image = drawn.one("svg")[0]
            assert (image["width"], image["height"]) == (element["width"], element["height"])
            assert answer.headers["Cache-Control"] == "public, max-age=3600"
            again = client.get(element[attribute], headers={"If-None-Match": answer.headers["ETag"]})
            assert again.status_code == 304
            assert again.headers["Content-Security-Policy"] == answer.headers["Content-Security-Policy"]
            assert "prefers-color-scheme" in answer.text
            titles.setdefault(shape, []).append(drawn.one("title")[1])
    given = first_example(calculator).given
    outcome = evaluate_request(calculator, given)
    request = ChartRequest(calculator, given, False, outcome, build_response(outcome, 0))
    charts = [make_chart(request, chart) for chart in calculator.charts]
    assert titles["wide"] == titles["narrow"] == [chart.title for chart in charts if chart is not None]
    assert titles["wide"][0] == calculator.charts[0].title
    assert len(set(titles["wide"])) == len(page.find("img")), "each shows another chart"
    for image, _ in page.find("img"):
        assert image["loading"] == "lazy"
        assert image["alt"].endswith(".")
    assert {source["media"] for source, _ in page.find("source")} == {"(max-width: 36rem)"}


def test_a_page_draws_no_chart(monkeypatch: pytest.MonkeyPatch, client: FlaskClient) -> None:
    """Neither its drawing nor the points of its curve."""

    def never(*_: object, **__: object) -> None:
        raise AssertionError("a page drew a chart")

    monkeypatch.setattr("gramwatt.charts.draw.as_svg", never)
    monkeypatch.setattr("gramwatt.charts.curve_charts.compute_grid", never)
    for calculator in CALCULATORS:
        assert get(client, f"/calculators/{calculator.name}").find("picture")


def test_the_chart_of_an_invalid_form_is_a_problem(client: FlaskClient) -> None:
    """The address of a chart with rows of tables is a form's."""
    url = "/calculators/mass-margin/chart"
    drawn = client.get(url, query_string={**PARTS, "shape": "narrow"})
    assert "frame, 38.4 g; motor × 4, 82.8 g" in drawn.text
    wrong = client.get(url, query_string={**PARTS, "parts.4.mass": "heavy"})
    assert (wrong.status_code, wrong.mimetype) == (422, "application/problem+json")
    assert [error["pointer"] for error in wrong.get_json()["errors"]] == ["/parts/1/mass"]
    twice = client.get(f"{url}?mass_limit=250&mass_limit=300&masses=1")
    assert [error["pointer"] for error in twice.get_json()["errors"]] == ["/mass_limit"]
    assert client.get("/calculators/endurence/chart").status_code == 404
    nothing = client.get(
        "/calculators/endurance/chart", query_string={"cells": 6, "capacity": 1300, "mean_power": 90000}
    )
    assert (nothing.status_code, nothing.get_json()["type"]) == (404, "http://localhost/problems/no-result")


def inline(page: Page) -> str:
    """Return the chart that is in the page itself."""
    assert not page.find("source")
    kind, _, data = page.one("img")[0]["src"].partition(",")
    assert kind == "data:image/svg+xml;base64"
    return base64.b64decode(data).decode()


def test_a_chart_whose_inputs_fit_no_url_is_embedded(monkeypatch: pytest.MonkeyPatch, client: FlaskClient) -> None:
    """Drawn once, in the shape that fits."""
    shapes: list[str] = []

    def counted(chart: ChartData, style: ChartStyle) -> bytes:
        shapes.append(style.shape)
        return as_svg(chart, style)

    monkeypatch.setattr(draw, "as_svg", counted)
    text = "time,voltage,current\n" + "".join(f"{at},15.2,{10 + at % 3}\n" for at in range(60))
    for shape in ("wide", "narrow"):
        sent = client.post("/calculators/flight-log", data={"log": text, "shape": shape}, headers=BROWSER)
        page = Page(sent.text)
        drawn = Page(inline(page))
        assert "Current, A" in " ".join(word for _, word in drawn.find("text"))
        assert drawn.one("svg")[0]["width"] == page.one("img")[0]["width"]
        assert drawn.one("desc")[1] == page.one("img")[0]["alt"]
    many = {f"parts.{at}.name": "a long name" * 6 for at in range(110)} | {f"parts.{at}.mass": "1" for at in range(110)}
    long = client.post("/calculators/mass-margin", data={**many, "mass_limit": "250"}, headers=BROWSER)
    drawn_range = re.fullmatch(r"140\.0 g ± (\d\.\d) g", headline(Page(long.text)))
    assert drawn_range is not None
    assert float(drawn_range[1]) == pytest.approx(math.sqrt(110 / 12), rel=0.06)  # by hand: 110 readings to 1 g
    assert "limit 250 g" in inline(Page(long.text))
    assert shapes == ["wide", "narrow", "wide"]


def test_without_matplotlib_only_the_chart_is_missing(monkeypatch: pytest.MonkeyPatch, client: FlaskClient) -> None:
    """A page says so in one sentence; the address of a chart says what to install; its words need no drawing."""
    before = get(client, "/calculators/pack-energy", cells="6", capacity="1300")
    monkeypatch.setattr(views, "can_draw", lambda: False)
    monkeypatch.setattr(extras, "require", lambda library, **more: absent(library, **more))
    page = get(client, "/calculators/pack-energy", cells="6", capacity="1300")
    assert headline(page) == headline(before)
    assert not page.find("picture")
    assert "This service cannot draw charts" in page.one("section", id="results")[1]
    for url in (before.one("img")[0]["src"], "/calculators/mass-margin/chart"):
        raised = client.get(url)
        assert (raised.status_code, raised.get_json()["type"]) == (501, "http://localhost/problems/not-installed")
        assert "pip install 'gramwatt[charts]'" in raised.get_json()["detail"]
    words = client.get("/v1/pack-energy/chart?cells=6&capacity=1300&format=txt")
    assert (words.status_code, words.mimetype) == (200, "text/plain")


def absent(library: str, *, extra: str, purpose: str) -> None:
    raise extras.MissingExtra(library, extra, purpose)
