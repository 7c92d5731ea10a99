"""The workbooks in LibreOffice Calc, opened as files, in a locale with a decimal point and in one with a comma."""

import copy
import importlib.util
import json
import shutil
import sys
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from clients.office import office
from clients.running import EXAMPLES, free_port
from gramwatt import calculate

pytestmark = pytest.mark.client("soffice")

WORKBOOKS = ("craft.ods", "craft.xlsx")
CRAFT = json.loads((EXAMPLES / "craft" / "craft.json").read_bytes())
PACKS = range(2, 2 + len(CRAFT["packs"]))
FIGURES = "BCDEFGH"
READ = {
    "Packs": [f"{column}{row}" for row in PACKS for column in "A" + FIGURES],
    "Sweep": [f"{column}{row}" for row in range(2, 12) for column in "ABCD"],
}
Cells = Mapping[str, Mapping[str, Any]]


def opened(
    examples: Path, folder: Path, locale: str, service: str, write: Mapping[str, Any] | None = None
) -> dict[str, dict[str, Cells]]:
    """Return what both workbooks show, after changes of cells."""
    books = folder / "books"
    books.mkdir(exist_ok=True)
    for name in WORKBOOKS:
        shutil.copy(examples / "spreadsheet" / name, books / name)
    cells_by_workbook: dict[str, dict[str, Cells]] = office(
        "workbook_session.py",
        folder / f"profile-{locale}",
        locale,
        folder=str(books),
        workbooks=WORKBOOKS,
        service=service,
        write=write or {},
        read=READ,
    )
    return cells_by_workbook


@pytest.fixture(scope="module", params=["en-US", "de-DE"])
def shown(
    request: pytest.FixtureRequest, service: str, examples: Path, tmp_path_factory: pytest.TempPathFactory
) -> dict[str, dict[str, Cells]]:
    return opened(examples, tmp_path_factory.mktemp("books"), request.param, service)


def compute_packs(craft: Mapping[str, Any]) -> list[list[Any]]:
    """Return the row of each pack by the library: from the same document, in one request each."""
    rows = []
    (flight,) = craft["flights"]
    flown = next(pack for pack in craft["packs"] if pack["name"] == flight["pack"])
    for pack in craft["packs"]:
        limit, drive = (calculate(name, craft=craft, pack=pack["name"]) for name in ("mass-margin", "full-throttle"))
        masses = {each["name"]: calculate("mass-margin", craft=craft, pack=each["name"]) for each in (pack, flown)}
        mass, reference_mass = (masses[each["name"]]["results"]["total_mass"] for each in (pack, flown))
        scaled = calculate(
            "endurance-from-flight",
            **{name: pack[name] for name in ("cells", "capacity", "cell_resistance")},
            mass=mass,
            **{f"reference_{name}": flown[name] for name in ("cells", "capacity", "cell_resistance")},
            reference_mass=reference_mass,
            reference_duration=flight["duration"],
            reference_reserve=100 * (1 - flight["charge_used"] / flown["capacity"]),
            reserve=craft["reserve"],
        )
        margin, full = limit["results"], drive["results"]
        figures = [full[name] for name in ("pack_current", "loaded_cell_voltage", "discharge_rating_share")]
        rows.append(
            [margin["total_mass"], margin["mass_margin"], margin["verdict"], scaled["results"]["endurance"], *figures]
        )
    return rows


def check_figure(cell: Mapping[str, Any], figure: Any, column: str) -> None:
    """Compare a cell with the library's figure."""
    if isinstance(figure, str):
        assert cell["text"] == figure, column
    else:
        # The reserve, which the flight time of E follows from, is rounded to 12 decimals in the sheet.
        assert cell["value"] == pytest.approx(figure, rel=1e-9 if column == "E" else 1e-11), column
        assert len(cell["text"].replace("-", "")) <= 5, "sensible digits"


def check_packs(cells: Cells, craft: Mapping[str, Any]) -> None:
    """Each row is the library's, with numbers to calculate with that show few digits."""
    for row, pack, figures in zip(PACKS, craft["packs"], compute_packs(craft), strict=True):
        assert cells[f"A{row}"]["text"] == pack["name"]
        for column, figure in zip(FIGURES, figures, strict=True):
            cell = cells[f"{column}{row}"]
            check_figure(cell, figure, column)
            assert cell["error"] == 0


@pytest.mark.parametrize("workbook", WORKBOOKS)
def test_packs_side_by_side(shown: dict[str, dict[str, Cells]], workbook: str) -> None:
    check_packs(shown[workbook]["Packs"], CRAFT)


@pytest.mark.parametrize("workbook", WORKBOOKS)
def test_a_sweep_in_a_range(shown: dict[str, dict[str, Cells]], workbook: str) -> None:
    """Nine points from one request, split by formulas."""
    cells = shown[workbook]["Sweep"]
    assert cells["D2"]["text"] == CRAFT["packs"][0]["name"]
    for at, row in enumerate(range(3, 12)):
        power = 80 + 20 * at
        assert cells[f"A{row}"]["value"] == power
        value = calculate("endurance", craft=CRAFT, mean_power=power)["results"]["endurance"]
        assert cells[f"B{row}"]["value"] == pytest.approx(value, rel=5e-5), "five digits were requested"


def find_cell(made: Any, table: str, column: str, row: int) -> str:
    """Return the address of a cell of the sheet Craft."""
    _, places = made.make_craft("", CRAFT)
    address: str = places.get_cell(table, column, places.rows[table][0] + row)
    return address.removeprefix("$Craft.").replace("$", "")


def test_the_sheet_craft_feeds_all_figures(service: str, examples: Path, tmp_path: Path) -> None:
    """Masses, resistance and rating of a pack, the propeller and the flight: each is used. Errors stay in their row."""
    made = load_script(examples)
    changed: Any = copy.deepcopy(CRAFT)
    write: dict[str, Any] = {"B2": "4 cells", "B3": "two blades"}
    changes = [
        ("packs", "mass", 0, 201.3),
        ("packs", "cell_resistance", 0, 17.25),
        ("packs", "discharge_rating", 0, 45),
        ("packs", "cell_resistance", 1, 9.75),
        ("parts", "mass", 4, 27.9),
        ("parts", "count", 4, 2),
        ("flights", "duration", 0, 5.1),
    ]
    for table, column, row, value in changes:
        changed[table][row][column] = value
        write[find_cell(made, table, column, row)] = value
    changed["propellers"].reverse()
    write[find_cell(made, "packs", "capacity", 3)] = -850
    cells_by_workbook = opened(examples, tmp_path, "de-DE", service, {"Craft": write})
    for workbook in WORKBOOKS:
        cells = dict(cells_by_workbook[workbook]["Packs"])
        for column in "EFGH":
            assert cells[f"{column}5"]["text"].startswith("#ERR invalid-input: capacity: Must be at least 1"), column
        right = {**changed, "packs": changed["packs"][:3]}
        for row, figures in zip(PACKS, compute_packs(right), strict=False):
            values = [cells[f"{column}{row}"] for column in FIGURES]
            for column, cell, figure in zip(FIGURES, values, figures, strict=True):
                check_figure(cell, figure, column)
        sweep = cells_by_workbook[workbook]["Sweep"]
        at_80 = calculate("endurance", craft=changed, pack="4 cells", mean_power=80)["results"]["endurance"]
        assert sweep["B3"]["value"] == pytest.approx(at_80, rel=5e-5)


@pytest.mark.parametrize("locale", ["en-US", "de-DE"])
def test_a_missing_service_is_reported_and_no_old_number_stays(examples: Path, tmp_path: Path, locale: str) -> None:
    """Short words in every cell that would hold a figure."""
    cells_by_workbook = opened(examples, tmp_path, locale, f"http://127.0.0.1:{free_port()}")
    for workbook in WORKBOOKS:
        for sheet, addresses in (("Packs", ("B2", "D3", "H5")), ("Sweep", ("A3", "A11"))):
            for address in addresses:
                assert cells_by_workbook[workbook][sheet][address]["text"] == "no answer from the service", (
                    workbook,
                    address,
                )


def load_script(examples: Path) -> Any:
    """Import the script that writes the workbooks."""
    path = examples / "spreadsheet" / "make_workbooks.py"
    specification = importlib.util.spec_from_file_location("make_workbooks", path)
    assert specification is not None
    assert specification.loader is not None
    made = importlib.util.module_from_spec(specification)
    sys.modules[specification.name] = made  # dataclasses look there
    specification.loader.exec_module(made)
    return made


def test_both_workbooks_are_what_their_script_writes(examples: Path, tmp_path: Path) -> None:
    """Cell for cell; the times within the files differ."""
    made = load_script(examples)
    sheets = made.make_sheets("http://127.0.0.1:8000", CRAFT)
    made.write_xlsx(sheets, tmp_path / "craft.xlsx")
    made.write_ods(sheets, tmp_path / "craft.ods")
    for name, inside in (
        ("craft.ods", ["content.xml"]),
        ("craft.xlsx", [f"xl/worksheets/sheet{n}.xml" for n in (1, 2, 3)]),
    ):
        with zipfile.ZipFile(examples / "spreadsheet" / name) as committed, zipfile.ZipFile(tmp_path / name) as new:
            for part in inside:
                assert committed.read(part) == new.read(part), f"{name}: run make_workbooks.py"
