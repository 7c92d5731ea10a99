"""What is written for Excel and for Google Sheets, which cannot run here: how much of it can be run, is.

The VBA module runs in LibreOffice's VBA mode, all but its HTTP object, which only Windows has: LibreOffice's own
reading replaces it. The Apps Script runs in Node on stubs of Google's services that talk to a real Gramwatt.
The Power Query is parsed by its maker's own parser.
"""

import json
import re
import subprocess
from pathlib import Path
from typing import Any

import pytest

from clients.office import WRITTEN_FOR, office
from clients.running import environment, free_port, missing, need
from gramwatt import calculate

NPM = Path(__file__).with_name("npm")
HTTP = re.compile(r"    Dim http As Object\n.*?    GramwattGet = http\.responseText\n", re.DOTALL)
LIBREOFFICES = """    Dim files As Object
    Dim stream As Object
    Set files = CreateUnoService("com.sun.star.ucb.SimpleFileAccess")
    Set stream = CreateUnoService("com.sun.star.io.TextInputStream")
    stream.setInputStream(files.openFileRead(url))
    stream.setEncoding("UTF-8")
    GramwattGet = stream.readString(Array(), False)
"""
CELLS = {
    "A1": "cells",
    "B1": "6",
    "A2": "capacity",
    "B2": "1300.5",
    "A3": "reserve",
    "C1": '=GRAMWATT_VALUE("pack-energy";"usable_energy";A1:B3)',
    "C2": '=GRAMWATT_VALUE("pack-energy";"usable_energy";"cells";6;"capacity";"1.3 ± 0.02 Ah";"reserve";12.5)',
    "C3": '=GRAMWATT_VALUE("mass-margin";"verdict";"masses";"100,150";"rule";"eu-registration";"scale_resolution";0.1)',
    "C4": '=GRAMWATT_VALUE("pack-energy";"usable_energy";"cells";6;"capacity";-1)',
    "C5": '=GRAMWATT_VALUE("pack energy";"usable_energy")',
    "C6": '=GRAMWATT_VALUE("pack-energy";"usable_energy";"cells")',
    "C7": '=GRAMWATT_VALUE("pack-energy";"usable_energy";A1:B2;"reserve";B4)',
    "B4": "12.5",
}


def vba(examples: Path, service: str, folder: Path, locale: str) -> dict[str, Any]:
    """Return what the cells show with the module of the example."""
    text = (examples / "spreadsheet" / "gramwatt_excel.bas").read_text(encoding="utf-8")
    assert text.count(WRITTEN_FOR) == 1
    name, _, code = text.partition("\n")
    assert name == 'Attribute VB_Name = "GramwattCells"'
    code, replaced = HTTP.subn(lambda _: LIBREOFFICES, code)
    assert replaced == 1
    basic = "Option VBASupport 1\n" + code.replace(WRITTEN_FOR, service)
    sheet = {"cells": CELLS, "read": [address for address in CELLS if address.startswith("C")]}
    (shown,) = office("calc_session.py", folder / "profile", locale, basic=basic, sheets=[sheet])
    return dict(shown)


@pytest.mark.client("soffice")
@pytest.mark.parametrize("locale", ["en-US", "de-DE"])
def test_vba(service: str, examples: Path, tmp_path: Path, locale: str) -> None:
    """Numbers, words, errors; with any decimal sign."""
    shown = vba(examples, service, tmp_path, locale)
    for address, given in (
        ("C1", {"capacity": 1300.5}),
        ("C2", {"capacity": "1.3 Ah", "reserve": 12.5}),
        ("C7", {"capacity": 1300.5, "reserve": 12.5}),
    ):
        inputs: dict[str, Any] = {"cells": 6, **given}
        value = calculate("pack-energy", **inputs)["results"]["usable_energy"]
        assert shown[address]["value"] == pytest.approx(value, rel=1e-11), address
    assert shown["C3"]["text"] == "too-close-to-call"
    assert shown["C4"]["text"] == "#ERR invalid-input: capacity: Must be at least 1 and at most 1000000 mAh"
    assert shown["C5"]["text"].startswith("#ERR unknown-calculator: ")
    assert shown["C6"]["text"] == "#ERR inputs: cells has no value"


@pytest.mark.client("soffice")
def test_vba_without_a_service(examples: Path, tmp_path: Path) -> None:
    nowhere = f"http://127.0.0.1:{free_port()}"
    assert vba(examples, nowhere, tmp_path, "en-US")["C1"]["text"] == f"#ERR no-service: no answer from {nowhere}"


def node(script: str, *words: str, given: str = "") -> "subprocess.CompletedProcess[str]":
    if not (NPM / "node_modules").exists():
        missing("what the tests take from npm (npm install in tests/clients/npm)")
    return subprocess.run(
        [need("node"), str(NPM / script), *words],
        input=given,
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=environment(),
        timeout=120,
        check=False,
    )


def sheets(examples: Path, service: str, *calls: list[Any]) -> list[Any]:
    """Return the value of each call of the custom function, and the number of requests by then."""
    script = str(examples / "spreadsheet" / "gramwatt.gs")
    ran = node("apps_script.js", given=json.dumps([script, service, calls]))
    assert ran.returncode == 0, ran.stderr
    values: list[Any] = json.loads(ran.stdout)
    return values


@pytest.mark.client("node", "curl")
def test_apps_script_sends_one_request_for_many_rows_and_caches(service: str, examples: Path) -> None:
    """Rows in order, each with its result or the reason for none; a repeated call sends nothing, a new row one row."""
    names = [["cells", "capacity", "reserve"]]
    rows: list[list[Any]] = [[6, 1300, ""], [4, "1.5 Ah", 10], ["", "", ""], [6, -1, ""]]
    more = [*rows, [3, 450, ""]]
    call, longer = ["pack-energy", "usable_energy", names, rows], ["pack-energy", "usable_energy", names, more]
    (first, once), (again, still), (last, twice) = sheets(examples, service, call, call, longer)
    expected = [
        calculate("pack-energy", cells=6, capacity=1300)["results"]["usable_energy"],
        calculate("pack-energy", cells=4, capacity="1.5 Ah", reserve=10)["results"]["usable_energy"],
        "",
        "#ERR invalid-input: capacity: Must be at least 1 and at most 1000000 mAh",
    ]
    assert first == again == [[value] for value in expected]
    assert (once, still, twice) == (1, 1, 2)
    assert last[-1] == [calculate("pack-energy", cells=3, capacity=450)["results"]["usable_energy"]]


@pytest.mark.client("node", "curl")
def test_apps_script_one_request_and_its_errors(service: str, examples: Path) -> None:
    """Names next to values; words; no answer, an unknown result, an unknown calculator."""
    pack = [["cells"], ["capacity"]], [[6], [1300]]
    punch = [["cells", "capacity", "pack_power"]], [[6, 1300, 9000]]
    values = [
        value
        for value, _ in sheets(
            examples,
            service,
            ["pack-energy", "usable_energy", *pack],
            ["pack-energy", "baggage", *pack],
            ["pack-current", "pack_current", *punch],
            ["pack-energy", "energie", *pack],
            ["pack-energi", "usable_energy", *pack],
        )
    ]
    found = calculate("pack-energy", cells=6, capacity=1300)["results"]
    assert values[:2] == [found["usable_energy"], found["baggage"]]
    assert values[2].startswith("#ERR no-result: power-beyond-pack")
    assert values[3] == "#ERR unknown-result: pack-energy has no result energie"
    assert values[4].startswith("#ERR unknown-calculator: ")


@pytest.mark.client("node", "curl")
def test_apps_script_without_a_service(examples: Path) -> None:
    """Each cell shows the error, which is not cached."""
    nowhere = f"http://127.0.0.1:{free_port()}"
    call = ["pack-energy", "usable_energy", [["cells", "capacity"]], [[6, 1300], [4, 850]]]
    (first, once), (second, twice) = sheets(examples, nowhere, call, call)
    assert first == second == [[f"#ERR no-service: no answer from {nowhere}"]] * 2
    assert (once, twice) == (1, 2)


@pytest.mark.client("node")
def test_power_query_is_parsed_by_its_makers_parser(service: str, examples: Path, tmp_path: Path) -> None:
    """The parser also detects a broken query; the response to its request has the columns that it types."""
    path = examples / "spreadsheet" / "sweep.pq"
    ran = node("power_query.js", str(path))
    assert (ran.returncode, ran.stdout) == (0, "")
    broken = tmp_path / "broken.pq"
    broken.write_text(path.read_text(encoding="utf-8").replace("in\n    Result", "Result"), encoding="utf-8")
    assert node("power_query.js", str(broken)).returncode == 1
    text = path.read_text(encoding="utf-8")
    inputs = dict(
        re.findall(r'^ +(\w+) = "([^"]*)",?$', text.partition("Inputs = [")[2].partition("]")[0], re.MULTILINE)
    )
    from gramwatt.web import create_app

    answer = create_app().test_client().get("/v1/endurance/sweep", query_string=inputs)
    header = answer.text.splitlines()[0].split(",")
    typed = re.findall(r'\{"(\w+)", type number\}', text)
    assert len(typed) == 4
    assert set(typed) <= set(header)
    assert len(answer.text.splitlines()) == 10
