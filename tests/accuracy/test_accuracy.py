"""The page on accuracy says what the data say now, and its figures keep the project's bounds."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from accuracy import atmosphere, bench, discharge, hovering, masses, page, report
from accuracy.errors import Errors
from gramwatt.engine import registry


def test_page_and_data_are_what_the_report_says(reference_data: Path) -> None:
    """To renew it: python tests/accuracy/report.py --write."""
    found = page.Report.compute(reference_data)
    assert report.PAGE.read_text(encoding="utf-8") == found.to_markdown()
    assert report.DATA.read_text(encoding="utf-8") == found.to_json()


def test_page_names_every_calculator() -> None:
    text = report.PAGE.read_text(encoding="utf-8")
    assert [name for name in registry.load() if f"`{name}`" not in text] == []


def test_shared_sections_exist(reference_data: Path) -> None:
    titles = {section.title for section in page.sections(reference_data).values()}
    assert {title for shared in page.shared_sections().values() for title in shared} <= titles


def test_script_says_where_data_are_wanted(tmp_path: Path) -> None:
    """Run as a program, without data."""
    done = subprocess.run(
        [sys.executable, report.__file__],
        env={"GRAMWATT_REFERENCE_DATA": str(tmp_path / "nowhere")},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1
    assert "no open reference data at" in done.stderr


@pytest.mark.parametrize(
    ("value", "text"),
    [
        pytest.param(0.0, "none", id="exact"),
        pytest.param(4e-6, "under 0.001 %", id="tiny"),
        pytest.param(-0.00051, "-0.051 %", id="two-digits"),
        pytest.param(0.0638, "+6.4 %", id="below-ten"),
        pytest.param(0.0996, "+10 %", id="not-10.0"),
        pytest.param(-0.3137, "-31 %", id="whole"),
    ],
)
def test_percent(value: float, text: str) -> None:
    """By hand."""
    assert page.percent(value) == text


def test_errors_by_hand() -> None:
    """By hand: 1.1/1 and 0.8/1 give +0.1 and -0.2; mean -0.05; rms sqrt(0.05/2); nothing, or nan, is refused."""
    found = Errors.of([1.1, 0.8], [1.0, 1.0])
    assert (found.count, found.within(0.15)) == (2, 1)
    assert found.bias == pytest.approx(-0.05, rel=1e-12)
    assert found.rms == pytest.approx(0.025**0.5, rel=1e-12)
    assert found.worst == pytest.approx(-0.2, rel=1e-12)
    for bad in ([], [float("nan")]):
        with pytest.raises(ValueError, match="finite"):
            Errors.of(bad, bad)


# The project's bounds; those of propellers are in tests/physics/test_propeller.py, of catalogue data in
# tests/calculators/test_full_throttle.py


def test_rested_voltages(reference_data: Path) -> None:
    """Half a unit of the last printed digit, 0.1 mV."""
    assert np.abs(discharge.curves(reference_data)).max() <= 0.5e-4 * (1 + 1e-6)


def test_discharge() -> None:
    """3e-3 against the same circuit; 3 % and 7 % against whole cells, and never short."""
    assert abs(discharge.same_circuit().worst) < 3e-3
    assert discharge.whole_cells(power_cell=True).values.min() > 0
    assert abs(discharge.whole_cells(power_cell=True).worst) < 0.03
    assert discharge.whole_cells(power_cell=False).values.min() > 0
    assert abs(discharge.whole_cells(power_cell=False).worst) < 0.07


def test_resistance_in_the_cold() -> None:
    """Pinned: a straight line in 1/T misses the worst point by 10.6 %. The energies span 4 to 34, as reported."""
    assert abs(discharge.resistance_by_temperature().worst) < 0.11
    energies = discharge.activation_energies()
    assert (round(energies[0]), round(energies[-1])) == (4, 34)


def test_air() -> None:
    """1e-5 of the standard; moist air 5e-4 in weather (its densest, wettest corner has 5.07e-4), further out 7e-4."""
    assert abs(atmosphere.standard().worst) < 1e-5
    assert abs(atmosphere.sound().worst) < 1e-5
    assert abs(atmosphere.weather().worst) < 5.1e-4
    assert atmosphere.weather().rms < 5e-4
    assert abs(atmosphere.extremes().worst) < 7e-4


def test_units() -> None:
    assert abs(masses.conversions().worst) < 1e-9


def test_hover(reference_data: Path) -> None:
    """Either end of the masses within 15 % of the mean cruise, 95 % of flights and 90 % of bench rows in the stated
    range, the median bench row on the estimate that was drawn from them; the lightest craft within its range.
    """
    assert all(abs(each.worst) < 0.15 for each in hovering.large_craft(reference_data))
    assert hovering.large_craft_covered(reference_data) > 0.95
    errors, covered = hovering.benches(reference_data)
    assert errors.count > 1000
    assert covered > 0.9
    assert abs(errors.bias) < 0.02
    tiny = hovering.estimate(**hovering.LIGHT_CRAFT)
    assert tiny.low < hovering.LIGHT_POWER < tiny.high


def test_fitted_motors(reference_data: Path) -> None:
    """Rms 8 % of power and thrust at any throttle on runs not fitted to; at full throttle from volts alone as well."""
    held = bench.held_out(reference_data)
    assert held.power.count == held.thrust.count > 1200
    assert held.full_current.count == 140
    for errors in (held.power, held.thrust, held.full_current, held.full_thrust):
        assert errors.rms < 0.08
        assert abs(errors.bias) < 0.05
