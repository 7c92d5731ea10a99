"""Files of the results: as links where a URL holds the inputs, else by the form; pages where nothing is found."""

from __future__ import annotations

import io
import json

import pytest
from flask.testing import FlaskClient

from gramwatt import calculate
from web.pages.browser_page import BROWSER, PARTS, form_data, get

LOG = "time,voltage,current\n0,12.4,6\n30,12.2,6\n60,12.0,6\n"


def test_every_link_of_a_page_leads_to_its_file(client: FlaskClient) -> None:
    page = get(client, "/calculators/pack-energy", cells="6", capacity="1300")
    links = {text: attributes for attributes, text in page.find("a") if "download" in attributes}
    assert list(links) == ["Chart SVG", "Chart PNG", "CSV", "JSON"]
    for text, attributes in links.items():
        answer = client.get(attributes["href"])
        assert answer.status_code == 200
        assert attributes["download"].endswith("." + text.split(" ")[-1].lower())
    found = client.get(links["JSON"]["href"]).get_json()
    assert found["results"] == calculate("pack-energy", cells=6, capacity=1300)["results"]


@pytest.mark.parametrize(
    ("kind", "media_type", "start"),
    [
        ("chart-svg", "image/svg+xml", b"<svg "),
        ("chart-png", "image/png", b"\x89PNG"),
        ("csv", "text/csv", b""),
        ("json", "application/json", b"{"),
    ],
)
def test_a_form_with_a_recording_gives_files(client: FlaskClient, kind: str, media_type: str, start: bytes) -> None:
    page = get(client, "/calculators/flight-log")
    offered = {attributes["value"] for attributes, _ in page.find("button", name="download")}
    assert kind in offered
    data = {**form_data(page), "log": (io.BytesIO(LOG.encode()), "flight.csv"), "download": kind}
    answer = client.post("/calculators/flight-log/download", data=data, headers=BROWSER)
    assert answer.status_code == 200, answer.text
    assert answer.mimetype == media_type
    assert answer.data.startswith(start)
    assert answer.headers["Content-Disposition"].startswith('attachment; filename="flight-log')
    if kind == "json":
        assert json.loads(answer.data)["results"]["duration"] == 1


def test_captions_are_files_too(client: FlaskClient) -> None:
    data = {"log": (io.BytesIO(LOG.encode()), "flight.csv"), "download": "vtt"}
    answer = client.post("/calculators/overlay-cues/download", data=data, headers=BROWSER)
    assert (answer.status_code, answer.mimetype) == (200, "text/vtt")
    assert answer.text.startswith("WEBVTT")


def test_a_wrong_form_or_kind_gives_a_page_with_the_reason(client: FlaskClient) -> None:
    wrong = client.post(
        "/calculators/mass-margin/download", data={**PARTS, "parts.4.mass": "heavy", "download": "csv"}, headers=BROWSER
    )
    assert (wrong.status_code, wrong.mimetype) == (422, "text/html")
    assert "Enter a number" in wrong.text
    unknown = client.post("/calculators/mass-margin/download", data={**PARTS, "download": "exe"}, headers=BROWSER)
    assert (unknown.status_code, unknown.mimetype) == (404, "text/html")


@pytest.mark.parametrize("path", ["/nothing", "/calculators/pack-energi", "/problems/nothing"])
def test_a_browser_gets_a_page_where_nothing_is_found(client: FlaskClient, path: str) -> None:
    shown = client.get(path, headers=BROWSER)
    assert (shown.status_code, shown.mimetype) == (404, "text/html")
    assert 'href="/calculators/pack-energy"' in shown.text
    assert client.get(path).mimetype == "application/problem+json"
    assert client.get(path, headers={"Accept": "application/json"}).mimetype == "application/problem+json"


def test_programs_get_problems_below_v1(client: FlaskClient) -> None:
    assert client.get("/v1/nothing/at/all", headers=BROWSER).mimetype == "application/problem+json"


def test_all_calculators_are_a_page(client: FlaskClient) -> None:
    page = get(client, "/calculators")
    index = client.get("/calculators").get_json()
    links = {attributes["href"] for attributes, _ in page.find("a")}
    assert {each["links"]["page"] for each in index["calculators"]} <= links
