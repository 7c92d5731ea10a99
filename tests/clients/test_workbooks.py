"""The workbooks in LibreOffice Calc, opened as files, in a locale with a decimal point and in one with a comma."""

import importlib.util
import shutil
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from clients.office import office
from clients.running import free_port
from gramwatt import calculate

pytestmark = pytest.mark.client("soffice")

WORKBOOKS = ("craft.ods", "craft.xlsx")
READ = {
    "Craft": [f"{column}{row}" for row in range(12, 18) for column in "BC"],
    "Packs": [f"{column}{row}" for row in range(2, 7) for column in "ABCDEFGHIJ"],
    "Sweep": [f"{column}{row}" for row in range(3, 12) for column in "ABC"],
}
PACK: dict[str, Any] = {"cells": 4, "capacity": 850, "cell_resistance": 12.5}
Cells = Mapping[str, Mapping[str, Any]]


def opened(examples: Path, folder: Path, locale: str, service: str) -> dict[str, dict[str, Cells]]:
    """Return what both workbooks show."""
    books = folder / "books"
    books.mkdir(exist_ok=True)
    for name in WORKBOOKS:
        shutil.copy(examples / "spreadsheet" / name, books / name)
    profile = folder / f"profile-{locale}"
    cells_by_workbook: dict[str, dict[str, Cells]] = office(
        "workbook_session.py", profile, locale, folder=str(books), workbooks=WORKBOOKS, service=service, read=READ
    )
    return cells_by_workbook


@pytest.fixture(scope="module", params=["en-US", "de-DE"])
def shown(
    request: pytest.FixtureRequest, service: str, examples: Path, tmp_path_factory: pytest.TempPathFactory
) -> dict[str, dict[str, Cells]]:
    return opened(examples, tmp_path_factory.mktemp("books"), request.param, service)


def result(calculator: str, name: str, **given: Any) -> Any:
    return calculate(calculator, **given)["results"][name]


@pytest.mark.parametrize("workbook", WORKBOOKS)
def test_a_craft(shown: dict[str, dict[str, Cells]], workbook: str) -> None:
    """Every figure is the library's, a number to calculate with."""
    cells = shown[workbook]["Craft"]
    punch = {**PACK, "power": 300, "state_of_charge": 80}
    for address, value in (
        ("B12", result("endurance", "endurance", **PACK, power=118.5)),
        ("B14", result("pack-current", "current", **punch)),
        ("B15", result("pack-current", "loaded_cell_voltage", **punch)),
        ("B16", result("pack-energy", "usable_energy", cells=4, capacity=850)),
        ("B17", result("mass-margin", "margin", masses=[246.4], rule="eu-a1-privately-built", resolution=0.1)),
    ):
        assert cells[address]["value"] == pytest.approx(value, rel=1e-11), address
        assert cells[address]["error"] == 0
    assert cells["B13"]["text"] == result("endurance", "ended_by", **PACK, power=118.5)


@pytest.mark.parametrize("workbook", WORKBOOKS)
def test_packs_side_by_side(shown: dict[str, dict[str, Cells]], workbook: str) -> None:
    """Each row is the library's; a mistyped one shows its error and spoils no other."""
    cells = shown[workbook]["Packs"]
    for row in range(2, 6):
        pack = {"cells": int(cells[f"B{row}"]["value"]), "capacity": cells[f"C{row}"]["value"]}
        power = 118.5 * ((246.4 - 100.3 + cells[f"D{row}"]["value"]) / 246.4) ** 1.5
        punch = {**pack, "power": 300, "state_of_charge": 80}
        assert cells[f"E{row}"]["value"] == pytest.approx(
            result("endurance", "endurance", **pack, power=power), rel=1e-9
        )
        assert cells[f"F{row}"]["value"] == pytest.approx(result("pack-current", "current", **punch), rel=1e-11)
        volts = result("pack-current", "loaded_cell_voltage", **punch)
        assert cells[f"G{row}"]["value"] == pytest.approx(volts, rel=1e-11)
    for address in ("E6", "F6", "G6"):
        assert cells[address]["text"] == "#ERR invalid-input: capacity: Must be at least 1 and at most 1000000 mAh"
        assert cells[address]["error"] == 0


@pytest.mark.parametrize("workbook", WORKBOOKS)
def test_a_sweep_in_a_range(shown: dict[str, dict[str, Cells]], workbook: str) -> None:
    """Nine points from one request, split by formulas."""
    cells = shown[workbook]["Sweep"]
    for at, row in enumerate(range(3, 12)):
        power = 60 + 20 * at
        assert cells[f"A{row}"]["value"] == power
        value = result("endurance", "endurance", **PACK, power=power)
        assert cells[f"B{row}"]["value"] == pytest.approx(value, rel=5e-5), "five digits were requested"


@pytest.mark.parametrize("locale", ["en-US", "de-DE"])
def test_a_missing_service_is_reported_and_no_old_number_stays(examples: Path, tmp_path: Path, locale: str) -> None:
    """Short words in every cell that would hold a figure."""
    cells_by_workbook = opened(examples, tmp_path, locale, f"http://127.0.0.1:{free_port()}")
    for workbook in WORKBOOKS:
        for sheet, addresses in (("Craft", ("B12", "B13", "B17")), ("Packs", ("E2", "F6")), ("Sweep", ("A3", "A11"))):
            for address in addresses:
                assert cells_by_workbook[workbook][sheet][address]["text"] == "no answer from the service", (
                    workbook,
                    address,
                )


def test_both_workbooks_are_what_their_script_writes(examples: Path, tmp_path: Path) -> None:
    """Cell for cell; the times within the files differ."""
    path = examples / "spreadsheet" / "make_workbooks.py"
    specification = importlib.util.spec_from_file_location("make_workbooks", path)
    assert specification is not None
    assert specification.loader is not None
    made = importlib.util.module_from_spec(specification)
    specification.loader.exec_module(made)
    sheets = {"Craft": made.craft("http://127.0.0.1:8000"), "Packs": made.packs(), "Sweep": made.sweep()}
    made.write_xlsx(sheets, tmp_path / "craft.xlsx")
    made.write_ods(sheets, tmp_path / "craft.ods")
    for name, inside in (
        ("craft.ods", ["content.xml"]),
        ("craft.xlsx", [f"xl/worksheets/sheet{n}.xml" for n in (1, 2, 3)]),
    ):
        with zipfile.ZipFile(examples / "spreadsheet" / name) as committed, zipfile.ZipFile(tmp_path / name) as new:
            for part in inside:
                assert committed.read(part) == new.read(part), f"{name}: run make_workbooks.py"
