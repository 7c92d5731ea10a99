"""Tests of snippets: each is run and gives the results of the page."""

from __future__ import annotations

import json
import subprocess
import sys
from typing import Any
from urllib.parse import parse_qsl, urlsplit

import pytest
from flask.testing import FlaskClient

from gramwatt import calculate
from gramwatt.model import (
    Calculator,
)
from gramwatt.model.messages import format_number
from gramwatt.web.pages import form_reader
from gramwatt.web.pages.description import first_example
from gramwatt.web.pages.web_component import LATEST, integrity
from web.pages.browser_page import (
    BROWSER,
    Page,
    code,
    every_calculator,
    get,
    headline,
)


@every_calculator
def test_snippets_give_the_same_results(
    client: FlaskClient, live: str, calculator: Calculator[Any, Any], tmp_path: Any
) -> None:
    """Each piece is really run against the service: the cell's address, the shell's command, Python, the picture."""
    answer = client.get(f"/calculators/{calculator.name}", headers=BROWSER, base_url=live)
    pieces = code(Page(answer.text))
    if not pieces:
        assert calculator.takes_recordings, "only recordings in a table have no code to copy"
        return
    example: dict[str, Any] = dict(first_example(calculator).given)
    expected = calculate(calculator.name, **example)["results"][calculator.headline]
    if calculator.recording:
        log = example[calculator.recording]
        (tmp_path / "flight.csv").write_text(form_reader.to_text(calculator.input_fields[calculator.recording], log))
    environment = {"PATH": "/usr/bin:/bin", "no_proxy": "*"}
    shell = subprocess.run(
        ["sh", "-c", pieces["curl"]], capture_output=True, check=True, cwd=tmp_path, env=environment, timeout=60
    )
    found = json.loads(shell.stdout)["results"][calculator.headline]
    assert found == (expected if isinstance(expected, str) else pytest.approx(expected, rel=1e-9))
    if "Python" in pieces:
        command = [sys.executable, "-c", pieces["Python"]]
        ran = subprocess.run(command, capture_output=True, check=True, text=True, env=environment, timeout=60)
        assert ran.stdout.strip() == str(expected)
    if "URL of this value" in pieces:
        address = urlsplit(pieces["URL of this value"])
        assert len(pieces["URL of this value"]) < 2048
        assert client.get(f"{address.path}?{address.query}").text == format_number(expected) or isinstance(
            expected, str
        )
        assert pieces["URL of this value"] in pieces["Spreadsheet cell"]
        picture = urlsplit(pieces["URL of the chart"])
        assert client.get(f"{picture.path}?{picture.query}").mimetype == "image/png"
    if "Your own website" in pieces:
        element = Page(pieces["Your own website"])
        script = element.one("script")[0]
        assert script["src"] == f"{live}/gramwatt-{LATEST}.js"
        assert script["integrity"] == integrity(LATEST)
        given = {n: v for n, v in element.one("gramwatt-calculator")[0].items() if n != "name"}
        assert set(given) == set(example)
        frame = urlsplit(element.one("iframe")[0]["src"])
        assert headline(get(client, frame.path, **dict(parse_qsl(frame.query)))) == headline(Page(answer.text))
