"""Average power from flights: flights that come back, exact recovery, cases by hand, ranges, every caution."""

import math
from typing import Any, Final

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from gramwatt import calculate
from gramwatt.engine import registry
from gramwatt.physics import cells

ACCURACY: Final = "Recorded flights"
"""The section of ACCURACY.md that covers this calculator too."""

NAME: Final = "power-fit"
Row = dict[str, Any]


def rested_energy(count: int, used: float, capacity: float, chemistry: str = "lipo") -> float:
    """Return the energy [Wh] of a full pack down to a charge used [mAh], without resistance: trapezoids."""
    curve = cells.OPEN_CIRCUIT_VOLTAGE[cells.CHEMISTRIES.index(chemistry)]
    end = 1 - used / capacity
    charges = np.unique(np.concatenate((np.linspace(0, 1, 21)[np.linspace(0, 1, 21) > end], [end])))
    voltages = np.interp(charges, np.linspace(0, 1, 21), curve)
    return float(count * np.trapezoid(voltages, charges) * capacity / 1e3)


ENERGY: Final = rested_energy(4, 1000, 1300)


def flight(mass: float, power: float, **more: Any) -> Row:
    """Return a flight with 1 of 1.3 Ah used and no resistance, at an average power."""
    duration = ENERGY * 60 / power
    pack = {"cells": 4, "capacity": 1300, "charge_used": 1000, "cell_resistance": 0}
    return {"mass": mass, "duration": duration, **pack, **more}


THREE: Final = [flight(500, 120), flight(600, 148), flight(720, 192)]
PACK: Final[dict[str, Any]] = {"cells": 6, "capacity": 1300}


def ask(flights: list[Row], **inputs: Any) -> dict[str, Any]:
    answer: dict[str, Any] = calculate(NAME, flights=flights, **inputs)
    return answer


def results(flights: list[Row], **inputs: Any) -> dict[str, Any]:
    found: dict[str, Any] = ask(flights, **inputs)["results"]
    return found


def reasons(answer: dict[str, Any]) -> dict[str, str]:
    """Return the code of each result that is missing."""
    return {name: caution["code"] for caution in answer["cautions"] for name in caution.get("results", ())}


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        # By hand: energy of the rested curve over half an hour, or charge x voltage where both were measured.
        pytest.param({"charge_used": 1000}, rested_energy(4, 1000, 1300) / 0.5, id="charge-as-measured"),
        pytest.param({"charge_used": 1000, "mean_voltage": 15.2}, 15.2 * 1.0 / 0.5, id="voltage-as-measured"),
        pytest.param({"reserve": 25}, rested_energy(4, 975, 1300) / 0.5, id="by-reserve"),
        pytest.param({"reserve": 25, "mean_voltage": 15.2}, 15.2 * 1.3 * 0.75 / 0.5, id="reserve-and-voltage"),
        pytest.param({}, rested_energy(4, 1040, 1300) / 0.5, id="neither-charge-nor-reserve-counts-20-%"),
        pytest.param({"charge_used": 1000, "reserve": 50}, rested_energy(4, 1000, 1300) / 0.5, id="charge-first"),
        pytest.param({"reserve": 10, "chemistry": "li-ion"}, rested_energy(4, 1170, 1300, "li-ion") / 0.5, id="li-ion"),
        # 1.4 Ah from a pack of 1.3 Ah: it holds as much, so all of it was used, down to the cut-off of 3.3 V.
        pytest.param({"charge_used": 1400, "mean_voltage": 15}, 15 * 1.4 / 0.5, id="charge-above-rated-capacity"),
    ],
)
def test_power_of_a_flight_by_hand(row: Row, expected: float) -> None:
    """One flight in standard air, without resistance: its own power is the result at its own mass, which is assumed."""
    answer = ask([{"mass": 500, "duration": 30, "cells": 4, "capacity": 1300, "cell_resistance": 0, **row}])
    found = answer["results"]
    assert found["mean_power_by_flight"] == [pytest.approx(expected, rel=1e-10)]
    assert found["mean_power"] == pytest.approx(expected, rel=1e-10)
    assert (found["mean_mass"], found["flights_used"], found["mean_power_deviation_share_by_flight"]) == (500, 1, [0])
    assert answer["inputs"]["mass"] == 500
    assert {"mass", "mass_exponent"} <= set(answer["assumed"])


flown = st.fixed_dictionaries(
    {
        "mass": st.floats(30.0, 5000.0),
        "duration": st.floats(2.0, 40.0),
        "cells": st.integers(1, 8),
        "capacity": st.floats(200.0, 10_000.0),
        "chemistry": st.sampled_from(cells.CHEMISTRIES),
        "air_density": st.floats(0.8, 1.3),
    },
    optional={"mean_voltage": st.floats(3.0, 30.0), "pack_resistance": st.floats(0.1, 200.0)},
)


@given(flown, st.floats(1.0, 99.0), st.booleans())
def test_the_flight_comes_back(row: Row, left: float, by_charge: bool) -> None:
    """Round trip, to 1e-9: one flight, computed for its own pack, mass, air and what was left, lasts as long.

    Whatever ends it, and whatever was measured: charge, mean voltage, resistance; what is not given is assumed alike.
    """
    used = {"charge_used": row["capacity"] * (1 - left / 100)} if by_charge else {"reserve": left}
    same = {name: row[name] for name in ("mass", "cells", "capacity", "chemistry", "air_density")}
    for resistance in ({}, {"pack_resistance": row["pack_resistance"]} if "pack_resistance" in row else {}):
        found = results([{**row, **used}], **same, reserve=left, **resistance)
        assert found["endurance"] == pytest.approx(row["duration"], rel=1e-9)


@pytest.mark.parametrize(
    ("in_flight", "in_pack"),
    [
        pytest.param({}, {}, id="assumed"),
        pytest.param({}, {"pack_resistance": 60}, id="measured-60-mohm"),
        pytest.param({"pack_resistance": 60}, {}, id="measured-in-the-flight"),
        pytest.param({"cell_resistance": 12, "lead_resistance": 6}, {}, id="in-parts"),
        pytest.param({"charge_used": 520, "mean_voltage": 14.6}, {"cell_resistance": 20}, id="voltage-too"),
    ],
)
def test_four_and_a_half_minutes_come_back(in_flight: Row, in_pack: Row) -> None:
    """Of a small craft (rule of thumb, no source): 4.5 min with 4 cells of 650 mAh at 213 g, in three calculators."""
    row = {"mass": 213, "duration": 4.5, "cells": 4, "capacity": 650, **in_flight}
    pack: Row = {"cells": 4, "capacity": 650, **in_pack}
    assert results([row], **pack)["endurance"] == pytest.approx(4.5, rel=1e-9)
    craft: Row = {"dry_mass": 133, "kv": 4600, "diameter": 3.5, "pitch": 2, "flights": [row]}
    built = calculate("build", **craft, packs=[{"name": "flown", "mass": 80, **pack}])
    assert built["results"]["longest_endurance"] == pytest.approx(4.5, rel=1e-9)
    parts = ("cell_resistance", "lead_resistance", "pack_resistance")
    reference: Row = {f"reference_{name}": in_flight[name] for name in parts if name in in_flight}
    reference |= {f"reference_{name}": row[name] for name in ("mass", "duration", "cells", "capacity")}
    carried = calculate("endurance-from-flight", **reference, **pack, mass=213)
    assert carried["results"]["endurance"] == pytest.approx(4.5, rel=1e-9)


def test_power_of_a_flight_is_that_of_endurance() -> None:
    """One model: endurance at the power found, with the same resistance, lasts as long as the flight."""
    row = {"mass": 213, "duration": 4.5, "cells": 4, "capacity": 650, "reserve": 15, "pack_resistance": 60}
    power = results([row])["mean_power"]
    there = calculate("endurance", cells=4, capacity=650, reserve=15, pack_resistance=60, mean_power=power)["results"]
    assert there["endurance"] == pytest.approx(4.5, rel=1e-10)


def test_a_recorded_flight_comes_back() -> None:
    """Duration, charge and mean voltage of the recording: 600 s at 5 A and 15 to 14 V use 833.33 mAh at 14.5 V."""
    log = {"time": [0, 300, 600], "voltage": [15, 14.5, 14], "current": [5, 5, 5]}
    row: Row = {"mass": 400, "cells": 4, "capacity": 1000, "log": log}
    answer = ask([row], mass=400, cells=4, capacity=1000, reserve=100 * (1 - 3000 / 3600))
    assert answer["results"]["mean_power"] == pytest.approx(72.5, rel=1e-9)
    assert answer["results"]["endurance"] == pytest.approx(10, rel=1e-9)
    assert {"flights.duration", "flights.charge_used", "flights.mean_voltage"} <= set(answer["assumed"])


def test_three_flights_by_hand() -> None:
    """By hand after JCGM 100:2008, H.3 (a calibration line), in logarithms.

    Masses in steps of L = ln 1.2 about 600 g: u = (-L, 0, L), S = 2 L^2; x = ln(192/120) / 2L; mean power G = (120 x
    148 x 192)^(1/3); residuals -r/2, r, -r/2 with r = ln(148/G), so s^2 = 1.5 r^2 / 1. One more at u0 errs by s' t
    sqrt(1 + 1/3 + u0^2/S), s'^2 = (3 x 0.08^2 + 1.5 r^2) / 4, with t of 4 degrees of freedom: 2.78 for 95 % (JCGM
    100:2008, table G.2).
    """
    step = math.log(1.2)
    middle = (120 * 148 * 192) ** (1 / 3)
    s = math.sqrt(1.5) * abs(math.log(148 / middle))
    answer = ask(THREE, mass=864, **PACK)
    found = answer["results"]
    x = math.log(1.6) / (2 * step)
    assert found["mass_exponent"] == pytest.approx(x, rel=1e-10)
    assert found["power_scatter"] == pytest.approx(100 * s, rel=1e-9)
    assert found["power_at_mean_mass"] == pytest.approx(middle, rel=1e-10)
    power = middle * 1.2 ** (2 * x)  # 864 g = 600 g x 1.2^2, u0 = 2L, u0^2 / S = 2
    assert found["mean_power"] == pytest.approx(power, rel=1e-10)
    time = rested_energy(6, 1040, 1300) / power * 60
    assert found["endurance"] == pytest.approx(time, rel=1e-10)
    pooled = math.sqrt((3 * 0.08**2 + s**2) / 4)
    t = stats.t.ppf(0.975, 4)
    error = pooled * t * math.sqrt(1 + 1 / 3 + 2)
    uncertainty = answer["uncertainty"]
    for name, value in (("mean_power", power), ("endurance", time)):
        ends = (value * math.exp(-error), value * math.exp(error))
        assert (uncertainty[name]["low"], uncertainty[name]["high"]) == pytest.approx(ends, rel=0.04)
        assert {"flight_scatter", "exponent_error"} <= set(uncertainty[name]["shares"])
    ends = (x - pooled * t / (step * math.sqrt(2)), x + pooled * t / (step * math.sqrt(2)))
    exponent = uncertainty["mass_exponent"]
    assert (exponent["low"], exponent["high"]) == pytest.approx(ends, rel=0.02)


def test_against_scipy() -> None:
    """scipy.stats.linregress on the logarithms of a dozen invented flights with noise."""
    noise = np.random.default_rng(20)
    masses = np.linspace(450, 900, 12)
    powers = 0.02 * masses**1.35 * np.exp(noise.normal(0, 0.04, 12))
    found = results([flight(m, p) for m, p in zip(masses.tolist(), powers.tolist(), strict=True)], mass=700)
    line: Any = stats.linregress(np.log(masses), np.log(powers))
    assert found["mass_exponent"] == pytest.approx(line.slope, rel=1e-9)
    assert found["mean_power"] == pytest.approx(math.exp(line.intercept + line.slope * math.log(700)), rel=1e-9)


@settings(max_examples=25)
@given(
    st.lists(st.floats(100.0, 5000.0), min_size=2, max_size=8, unique=True),
    st.floats(0.8, 2.0),
    st.floats(0.7, 1.3),
    st.floats(200.0, 2000.0),
)
def test_exact_recovery(masses: list[float], exponent: float, density: float, mass: float) -> None:
    """Round trip: flights made by P = 150 W (m / 600 g)^x (1.225 / rho)^1/2 give x and P back, and no scatter."""
    masses[0] = 1.05 * max(masses)

    def power(grams: float) -> float:
        return float(150 * (grams / 600) ** exponent * math.sqrt(1.225 / density))

    rows = [flight(m, power(m), air_density=density, duration=f"{ENERGY * 3600 / power(m)} s") for m in masses]
    found = results(rows, mass=mass, air_density=density)
    assert found["mass_exponent"] == pytest.approx(exponent, rel=1e-8)
    assert found["mean_power"] == pytest.approx(power(mass), rel=1e-8)
    assert found["power_scatter"] == (None if len(masses) == 2 else pytest.approx(0, abs=1e-8))
    standard = results(rows, mass=mass)
    assert standard["mean_power"] == pytest.approx(power(mass) * math.sqrt(density / 1.225), rel=1e-8)


@given(st.permutations(THREE))
def test_order_and_units_do_not_matter(rows: list[Row]) -> None:
    response = [
        {
            **row,
            "mass": f"{row['mass'] / 1e3!r} kg",
            "duration": f"{row['duration'] / 60!r} h",
            "capacity": "1.3 Ah",
            "charge_used": "1 Ah",
        }
        for row in rows
    ]
    one, other = results(THREE, mass="0.7 kg", **PACK), results(response, mass=700, **PACK)
    for name, value in one.items():
        if not isinstance(value, list):
            assert other[name] == pytest.approx(value, rel=1e-9), name
    assert sorted(other["mean_power_by_flight"]) == pytest.approx(sorted(one["mean_power_by_flight"]), rel=1e-9)


def test_two_flights_of_two_masses() -> None:
    """By hand: x = ln(192/120) / ln(720/500). Both lie on the law, so scatter has no answer and says why."""
    answer = ask([THREE[0], THREE[2]], mass=600, **PACK)
    found = answer["results"]
    assert found["mass_exponent"] == pytest.approx(math.log(1.6) / math.log(1.44), rel=1e-10)
    assert reasons(answer) == {"power_scatter": "no-scatter"}
    assert found["endurance"] is not None
    assert answer["uncertainty"]["endurance"]["standard"] > 0.08 * found["endurance"]


@pytest.mark.parametrize("heavier", [500, 504.9])
def test_equal_masses_hold_the_exponent(heavier: float) -> None:
    """By hand: two flights of 120 and 130 W scatter by ln(130/120) / sqrt(2).

    X is assumed to be 1.2, and so is given the spread of what small craft do.
    """
    answer = ask([flight(500, 120), flight(heavier, 130 * (heavier / 500) ** 1.2)], mass=600)
    found = answer["results"]
    assert found["mass_exponent"] == 1.2
    assert "mass_exponent" in answer["assumed"]
    assert found["power_scatter"] == pytest.approx(100 * math.log(130 / 120) / math.sqrt(2), rel=1e-9)
    assert found["mean_power"] == pytest.approx(math.sqrt(120 * 130) * 1.2**1.2, rel=1e-10)
    # By hand: the spread of x and that of one more flight, s' t(0.8413; 4 degrees) sqrt(1.5), as a standard deviation
    # s' sqrt(4 / 2) sqrt(1.5).
    pooled = math.sqrt((3 * 0.08**2 + (found["power_scatter"] / 100) ** 2) / 4)
    spread = math.hypot(0.2 * math.log(600 / found["mean_mass"]), pooled * math.sqrt(2 * 1.5))
    assert answer["uncertainty"]["mean_power"]["standard"] == pytest.approx(spread * found["mean_power"], rel=0.08)


def test_a_given_exponent_is_held() -> None:
    """By hand: with x = 1 the level is the mean of P/m: (0.24 x 0.246667 x 0.266667)^(1/3) W/g, at 600 g 150.516 W."""
    answer = ask(THREE, mass=1200, mass_exponent=1)
    found = answer["results"]
    assert found["mass_exponent"] == 1
    assert found["mean_power"] == pytest.approx(2 * (120 * 148 * 192) ** (1 / 3), rel=1e-10)
    assert found["power_scatter"] == pytest.approx(
        100 * np.std([math.log(0.24), math.log(148 / 600), math.log(192 / 720)], ddof=1), rel=1e-9
    )
    assert answer["uncertainty"].get("mass_exponent", {"standard": 0})["standard"] == 0


def test_weighing_error_does_not_make_an_exponent_of_equal_masses() -> None:
    """Two flights at 500 +- 5 g: x stays 1.5, or the assumed 1.2 +- 0.2, whatever the masses drawn."""
    rows = [flight(500, 120, mass_u=5), {**flight(500, 130), "mass": "500 ± 5 g"}]
    assert ask(rows, mass=600, mass_exponent=1.5)["uncertainty"]["mass_exponent"]["standard"] == 0
    assumed = ask(rows, mass=600)["uncertainty"]["mass_exponent"]
    assert assumed["standard"] == pytest.approx(0.2, rel=0.01)


def test_shares_of_uncertain_flights() -> None:
    """What is uncertain in each flight counts beside the scatter: 20 % of each time is 0.2 / sqrt(3) of the mean."""
    rows = [{**row, "duration_u": 0.2 * row["duration"]} for row in THREE]
    shares = ask(rows, mass=600, mass_exponent=1.3)["uncertainty"]["mean_power"]["shares"]
    by_flight = sum(shares[f"/flights/{n}/duration"] for n in range(3))
    assert 0.1 < by_flight < 0.5
    assert by_flight + shares["flight_scatter"] == pytest.approx(1, abs=0.02)


@settings(max_examples=25)
@given(st.floats(0.5, 2.0), st.floats(1.0, 3.0))
def test_scaling(slower: float, heavier: float) -> None:
    """Flights k times as long draw 1/k; at a held x, power goes as mass^x; x and scatter do not know of either."""
    one = results(THREE, mass=600)
    other = results([{**row, "duration": row["duration"] * slower} for row in THREE], mass=600)
    assert other["mean_power"] == pytest.approx(one["mean_power"] / slower, rel=1e-9)
    assert other["mass_exponent"] == pytest.approx(one["mass_exponent"], rel=1e-9)
    assert other["power_scatter"] == pytest.approx(one["power_scatter"], rel=1e-9)
    further = results(THREE, mass=600 * heavier)
    assert further["mean_power"] == pytest.approx(one["mean_power"] * heavier ** one["mass_exponent"], rel=1e-9)


def test_one_flight_has_a_range() -> None:
    """By hand: 8 % between flights, one flight: t of 3 degrees, 3.182 at 97.5 %, x 0.08 x sqrt(2) = 0.360 of ln P."""
    answer = ask([flight(500, 120)], cells=4, capacity=1300)["uncertainty"]["mean_power"]
    ends = (120 * math.exp(-0.08 * math.sqrt(2) * 3.182), 120 * math.exp(0.08 * math.sqrt(2) * 3.182))
    assert (answer["low"], answer["high"]) == pytest.approx(ends, rel=0.02)


@settings(max_examples=25)
@given(st.lists(st.tuples(st.floats(300.0, 900.0), st.floats(0.9, 1.1)), min_size=2, max_size=6))
def test_a_law_returns_each_flight_within_its_deviation(flights: list[tuple[float, float]]) -> None:
    """Without resistance, time is energy over power: at its own mass, a flight lasts (1 + deviation) as long."""
    rows = [flight(mass, 0.25 * mass * noise) for mass, noise in flights]
    for row, deviation in zip(rows, results(rows)["mean_power_deviation_share_by_flight"], strict=True):
        pack: Row = {"cells": 4, "capacity": 1300, "reserve": 100 * 3 / 13}
        found = results(rows, mass=row["mass"], **pack)["endurance"]
        assert found == pytest.approx(row["duration"] * (1 + deviation / 100), rel=1e-8)


def test_a_heavier_load_sags_more_than_labels_say() -> None:
    """By hand, at a mean current: 6 min with 1.04 Ah is 10.4 A; twice the power is more than twice that, so less than
    half the time.
    """
    row: Row = {"mass": 500, "duration": 6, "cells": 4, "capacity": 1300}
    found = results([row], mass=1000, mass_exponent=1, cells=4, capacity=1300)
    assert 0.44 * 6 < found["endurance"] < 0.495 * 6


def test_a_pack_that_cannot_give_the_power() -> None:
    """By hand: 4.2^2 / (4 x 0.1 ohm) = 44.1 W a cell is the most, far below the 150 W that four cells gave."""
    answer = ask([flight(500, 120)], cells=1, capacity=1300, pack_resistance=100)
    assert reasons(answer) == {
        "power_scatter": "no-scatter",
        "endurance": "power-beyond-pack",
        "energy_used": "power-beyond-pack",
    }


def test_no_time_without_a_pack() -> None:
    answer = ask(THREE, mass=600, cells=6)
    names = ("endurance", "energy_used")
    assert {name: reasons(answer)[name] for name in names} == dict.fromkeys(names, "needs-input")
    texts = [c["text"] for c in answer["cautions"] if c["code"] == "needs-input"]
    assert texts == ["Flight time and energy used require capacity."]


SEVEN: Final = [flight(m, 0.25 * m * (1.02 if m % 100 else 1)) for m in (500, 550, 600, 650, 700, 750, 800)]
CAUTIONS: Final[dict[str, tuple[tuple[list[Row], Row], tuple[list[Row], Row]]]] = {
    # code: flights and inputs that bring it, and that do not
    "reserve-assumed": (
        ([{"mass": 500, "duration": 6, "cells": 4, "capacity": 1300}], {}),
        ([{"mass": 500, "duration": 6, "cells": 4, "capacity": 1300, "reserve": 20}], {}),
    ),
    "reserve-not-used": (([flight(500, 120, reserve=0)], {}), (THREE, {})),
    "charge-above-rated-capacity": (
        ([flight(500, 120, charge_used=1301)], {}),
        ([flight(500, 120, charge_used=1300)], {}),
    ),
    # By hand: the rested curve has 15.5 V on average here; 7 % less is 14.4 V.
    "doubtful-voltage": (([flight(500, 120, mean_voltage=14)], {}), ([flight(500, 120, mean_voltage=15)], {})),
    "resistance-assumed": ((THREE, PACK), (THREE, {**PACK, "cell_resistance": 8})),
    "doubtful-exponent": (([flight(500, 120), flight(545, 134)], {}), ([flight(500, 120), flight(555, 134)], {})),
    "outside-flown-masses": ((THREE, {"mass": 721}), (THREE, {"mass": 720})),
    "few-flights": ((THREE, {}), (SEVEN, {})),
    "air-density-differs": ((THREE, {"air_density": 1.0}), (THREE, {"air_density": 1.2})),
}


def codes(case: tuple[list[Row], Row]) -> set[str]:
    return {caution["code"] for caution in ask(case[0], **case[1])["cautions"]}


@pytest.mark.parametrize("code", CAUTIONS)
def test_caution_is_shown_when_it_holds_and_not_otherwise(code: str) -> None:
    shown, absent = CAUTIONS[code]
    assert code in codes(shown)
    assert code not in codes(absent)


def test_every_conditional_caution_has_a_case() -> None:
    assert {c.code for c in registry.load()[NAME].cautions if not c.is_always_shown} == set(CAUTIONS)


@pytest.mark.parametrize(
    ("case", "code"),
    [
        pytest.param(([flight(500, 120), flight(600, 210)], {}), "doubtful-exponent", id="steeper-than-any-craft"),
        pytest.param(([flight(500, 120), flight(600, 121)], {}), "doubtful-exponent", id="flatter-than-any-craft"),
        pytest.param((THREE, {"mass": 499}), "outside-flown-masses", id="lighter-than-flown"),
        pytest.param(([flight(500, 120)], {"mass": 510}), "outside-flown-masses", id="one-flight-carried"),
        pytest.param(([flight(500, 120, mean_voltage=17)], {}), "doubtful-voltage", id="more-than-a-full-pack"),
    ],
)
def test_the_other_reasons_for_a_caution(case: tuple[list[Row], Row], code: str) -> None:
    assert code in codes(case)


def test_always_says_what_an_average_is() -> None:
    assert {"same-flying-assumed", "land-early", "lithium-fire"} <= codes((THREE, {}))
