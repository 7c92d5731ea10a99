"""LibreOffice Calc in a locale with a decimal point and in one with a comma: cell formulas, Basic and Python macros."""

import csv
import socket
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from clients.office import WRITTEN_FOR, office
from clients.running import free_port, number
from gramwatt import calculate

pytestmark = pytest.mark.client("soffice")

MACRO = "vnd.sun.star.script:gramwatt_macro.py$fill_table?language=Python&location=user"
PACK = {"cells": 6, "capacity": "1300 mAh", "state_of_charge": 80, "cell_resistance": "8 mohm"}
POWERS = {"A2": "120", "A3": "0.4 kW", "A4": "9000", "A5": "-5", "A7": "87.25"}
BASIC = {
    "A1": "cells",
    "B1": "6",
    "A2": "capacity",
    "B2": "1300.5",
    "A3": "reserve",
    "A4": "state_of_charge",
    "B4": "62.5",
    "C1": '=GRAMWATT("pack-energy";"usable_energy";A1:B3)',
    "C2": '=GRAMWATT("pack-energy";"usable_energy";"cells";6;"capacity";"1.3 ± 0.02 Ah";"reserve";12.5)',
    "C3": '=GRAMWATT("pack-current";"loaded_cell_voltage";A1;B1;A2;B2;A4;B4;"pack_power";212.5)*2',
    "C4": '=GRAMWATT("mass-margin";"verdict";"masses";"100, 120.5 g";"rule";"eu-registration";"scale_resolution";0.1)',
    "C5": '=GRAMWATT("pack-energy";"usable_energy";"cells";6;"capacity";-1)',
    "C6": '=GRAMWATT("pack energy";"usable_energy")',
    "C7": '=GRAMWATT("pack-current";"pack_current";"cells";6;"capacity";1300;"pack_power";9000)',
    "C8": '=GRAMWATT("pack-energy";"usable_energy";"cells")',
    "C10": '=GRAMWATT("pack-energy";"usable_energy";"cells";B1;"capacity";B2;"reserve";B3)',
    "C9": '=GRAMWATT("mass-margin";"running_total_mass";"masses";"100,120.5";"mass_limit";0.00025)',
}


@dataclass
class Shown:
    """What each sheet showed, by address."""

    formulas: Mapping[str, Any]
    basic: Mapping[str, Any]
    table: Mapping[str, Any]


def formulas(examples: Path) -> list[dict[str, str]]:
    """Return the cells of the example."""
    with (examples / "spreadsheet" / "formulas.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def calc(examples: Path, service: str, profile: Path, locale: str) -> Shown:
    """Run Calc once with all that the example has."""
    text = {
        name: (examples / "spreadsheet" / name).read_text(encoding="utf-8")
        for name in ("gramwatt.bas", "gramwatt_macro.py")
    }
    assert all(code.count(WRITTEN_FOR) == 1 for code in text.values())
    scripts = profile / "user" / "Scripts" / "python"
    scripts.mkdir(parents=True)
    macro = text["gramwatt_macro.py"].replace(WRITTEN_FOR, service)
    (scripts / "gramwatt_macro.py").write_text(macro, encoding="utf-8")
    cells = {line["cell"]: line["content"].replace(WRITTEN_FOR, service) for line in formulas(examples)}
    sheets = [
        {"cells": cells, "read": list(cells)},
        {"cells": BASIC, "read": [address for address in BASIC if address.startswith("C")]},
        {
            "cells": POWERS | {"D6": "kept"},
            "select": "A2:A7",
            "run": MACRO,
            "read": [f"{column}{row}" for row in range(2, 8) for column in "BCD"],
        },
    ]
    basic = text["gramwatt.bas"].replace(WRITTEN_FOR, service)
    return Shown(*office("calc_session.py", profile, locale, basic=basic, sheets=sheets))


@pytest.fixture(scope="module", params=["en-US", "de-DE"])
def shown(
    request: pytest.FixtureRequest, service: str, examples: Path, tmp_path_factory: pytest.TempPathFactory
) -> Shown:
    """All of the example, in one locale."""
    return calc(examples, service, tmp_path_factory.mktemp("calc") / "profile", request.param)


def library(calculator: str, result: str, query: str) -> Any:
    """Return the library's value for a query."""
    inputs: dict[str, Any] = dict(word.split("=", 1) for word in query.split("&"))
    units = {result: inputs.pop("unit")} if "unit" in inputs else None
    given: dict[str, Any] = {name: number(value) for name, value in inputs.items()}
    if "cells" in given:
        given["cells"] = int(given["cells"])
    if "masses" in given:
        given["masses"] = [number(mass.strip()) for mass in inputs["masses"].split(",")]
    return calculate(calculator, units=units, **given)["results"][result]


def test_formulas_give_the_librarys_values(shown: Shown, examples: Path) -> None:
    """Each formula of the list is a number cell with the library's value, or the text it should be."""
    checked = 0
    for line in formulas(examples):
        cell = shown.formulas[line["cell"]]
        if line["calculator"]:
            value = library(line["calculator"], line["result"], line["inputs"])
            content = cell["text"] if isinstance(value, str) else cell["value"]
            assert content == (value if isinstance(value, str) else pytest.approx(value, rel=1e-11)), line["cell"]
            assert cell["error"] == 0, line["cell"]
            checked += 1
        elif line["expected"]:
            assert cell["text"] == line["expected"], line["cell"]
            checked += 1
    assert checked == 10


def test_basic_function_gives_numbers(shown: Shown) -> None:
    """A range or pairs, numbers with any decimal sign, empty cells left out; a number to calculate with."""
    energy = calculate("pack-energy", cells=6, capacity=1300.5)["results"]["usable_energy"]
    reserved = calculate("pack-energy", cells=6, capacity="1.3 Ah", reserve=12.5)["results"]["usable_energy"]
    pack: dict[str, Any] = {"cells": 6, "capacity": 1300.5, "state_of_charge": 62.5}
    voltage = calculate("pack-current", pack_power=212.5, **pack)["results"]["loaded_cell_voltage"]
    assert shown.basic["C1"]["value"] == pytest.approx(energy, rel=1e-11)
    assert shown.basic["C2"]["value"] == pytest.approx(reserved, rel=1e-11)
    assert shown.basic["C10"]["value"] == pytest.approx(energy, rel=1e-11)
    assert shown.basic["C3"]["value"] == pytest.approx(2 * voltage, rel=1e-11)


def test_basic_function_gives_texts_and_says_what_is_wrong(shown: Shown) -> None:
    """Words and lists as they are; errors in the service's words, never a traceback."""
    texts = {address: shown.basic[address]["text"] for address in ("C4", "C5", "C6", "C7", "C8", "C9")}
    verdict = calculate("mass-margin", masses=[100, 120.5], rule="eu-registration", scale_resolution=0.1)["results"][
        "verdict"
    ]
    assert texts["C4"] == verdict
    assert texts["C5"] == "#ERR invalid-input: capacity: Must be at least 1 and at most 1000000 mAh"
    assert texts["C6"].startswith('#ERR unknown-calculator: Unknown calculator "pack energy". Did you mean')
    assert texts["C7"].startswith("#ERR no-result: The pack cannot deliver 9000 W")
    assert texts["C8"].startswith("#ERR no-service: ")
    assert texts["C9"] == "100,220.5"
    assert all(shown.basic[address]["error"] == 0 for address in texts)


def test_python_macro_fills_the_table(shown: Shown) -> None:
    """Figures and cautions next to each power; an error is in its row; a row without power does not change."""
    for row, power in ((2, 120), (3, "0.4 kW"), (7, 87.25)):
        given: dict[str, Any] = PACK | {"pack_power": power}
        answer = calculate("pack-current", **given)
        assert shown.table[f"B{row}"]["value"] == pytest.approx(answer["results"]["pack_current"], rel=1e-11)
        assert shown.table[f"C{row}"]["value"] == pytest.approx(answer["results"]["loaded_cell_voltage"], rel=1e-11)
        assert "Lithium packs can burn" in shown.table[f"D{row}"]["text"]
    assert [shown.table[address]["text"] for address in ("B4", "C4", "B5", "C5")] == [""] * 4
    assert shown.table["D4"]["text"].startswith("The pack cannot deliver 9000 W")
    assert "pack_power: Must be at least 0" in shown.table["D5"]["text"]
    assert shown.table["D6"]["text"] == "kept"


def test_a_service_that_never_responds_is_reported(examples: Path, tmp_path: Path) -> None:
    """The Python macro waits for its timeout and then reports it; the Basic one waits as LibreOffice is set to."""
    profile = tmp_path / "profile"
    scripts = profile / "user" / "Scripts" / "python"
    scripts.mkdir(parents=True)
    macro = (examples / "spreadsheet" / "gramwatt_macro.py").read_text(encoding="utf-8")
    assert macro.count("timeout=30") == 1
    with socket.socket() as silent:
        silent.bind(("127.0.0.1", 0))
        silent.listen()  # connections are accepted and get no response
        service = f"http://127.0.0.1:{silent.getsockname()[1]}"
        patched = macro.replace(WRITTEN_FOR, service).replace("timeout=30", "timeout=1")
        (scripts / "gramwatt_macro.py").write_text(patched, encoding="utf-8")
        sheet = {"cells": {"A2": "120"}, "select": "A2:A2", "run": MACRO, "read": ["B2", "C2", "D2"]}
        (shown,) = office("calc_session.py", profile, "en-US", basic="", sheets=[sheet])
    assert [shown[address]["text"] for address in ("B2", "C2", "D2")] == ["", "", f"no answer from {service}"]


def test_a_missing_service_is_reported(examples: Path, tmp_path: Path) -> None:
    """Without a service, Basic and Python show that in the cell, with the URL."""
    nowhere = f"http://127.0.0.1:{free_port()}"
    alone = calc(examples, nowhere, tmp_path / "profile", "en-US")
    assert alone.basic["C1"]["text"].startswith(f"#ERR no-service: no answer from {nowhere}")
    assert alone.table["D2"]["text"] == f"no answer from {nowhere}"
    assert alone.formulas["B8"]["error"] != 0
