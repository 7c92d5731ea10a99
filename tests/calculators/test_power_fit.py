"""Average power from flights: exact recovery, a three-flight case by hand, what is lacking, every caution."""

import math
from typing import Any, Final

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from gramwatt import calculate
from gramwatt.engine import registry

ACCURACY: Final = "Recorded flights"
"""The section of ACCURACY.md that covers this calculator too."""

NAME: Final = "power-fit"
Row = dict[str, Any]


def flight(mass: float, power: float, **more: Any) -> Row:
    """Return a flight of 1 Ah at 14.8 V (14.8 Wh) at an average power."""
    return {"mass": mass, "duration": 14.8 * 60 / power, "cells": 4, "capacity": 1300, "charge_used": 1000, **more}


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
        # By hand: charge x voltage / time, in half an hour.
        pytest.param({"charge_used": 1000}, 4 * 3.7 * 1.0 / 0.5, id="charge-as-measured"),
        pytest.param({"charge_used": 1000, "mean_voltage": 15.2}, 15.2 * 1.0 / 0.5, id="voltage-as-measured"),
        pytest.param({"reserve": 25}, 4 * 3.7 * 1.3 * 0.75 / 0.5, id="by-reserve"),
        pytest.param({"reserve": 25, "mean_voltage": 15.2}, 15.2 * 1.3 * 0.75 / 0.5, id="reserve-and-voltage"),
        pytest.param({}, 4 * 3.7 * 1.3 * 0.8 / 0.5, id="neither-charge-nor-reserve-counts-20-%"),
        pytest.param({"charge_used": 1000, "reserve": 50}, 4 * 3.7 * 1.0 / 0.5, id="charge-before-reserve"),
        pytest.param({"reserve": 0, "chemistry": "li-ion"}, 4 * 3.6 * 1.3 / 0.5, id="li-ion-flown-flat"),
    ],
)
def test_power_of_a_flight_by_hand(row: Row, expected: float) -> None:
    """One flight in standard air: its own power is the result at its own mass, which is assumed and listed."""
    answer = ask([{"mass": 500, "duration": 30, "cells": 4, "capacity": 1300, **row}])
    found = answer["results"]
    assert found["flight_powers"] == [pytest.approx(expected, rel=1e-11)]
    assert found["power_at_mass"] == pytest.approx(expected, rel=1e-11)
    assert (found["reference_mass"], found["flights_used"], found["flight_deviations"]) == (500, 1, [0])
    assert answer["given"]["mass"] == 500
    assert {"mass", "mass_exponent"} <= set(answer["assumed"])


def test_three_flights_by_hand() -> None:
    """By hand after JCGM 100:2008, H.3 (a calibration line), in logarithms.

    Masses in steps of L = ln 1.2 about 600 g: u = (-L, 0, L), S = 2 L^2; x = ln(192/120) / 2L; mean power G = (120 x
    148 x 192)^(1/3); residuals -r/2, r, -r/2 with r = ln(148/G), so s^2 = 1.5 r^2 / 1; u(x) = s / sqrt(S); one more at
    u0 errs by s sqrt(1 + 1/3 + u0^2/S).
    """
    step = math.log(1.2)
    middle = (120 * 148 * 192) ** (1 / 3)
    s = math.sqrt(1.5) * abs(math.log(148 / middle))
    found = results(THREE, mass=864, **PACK)
    x = math.log(1.6) / (2 * step)
    assert found["mass_exponent"] == pytest.approx(x, rel=1e-10)
    assert found["exponent_u"] == pytest.approx(s / (step * math.sqrt(2)), rel=1e-9)
    assert found["scatter"] == pytest.approx(100 * s, rel=1e-9)
    assert found["reference_power"] == pytest.approx(middle, rel=1e-10)
    power = middle * 1.2 ** (2 * x)  # 864 g = 600 g x 1.2^2, u0 = 2L, u0^2 / S = 2
    error = s * math.sqrt(1 + 1 / 3 + 2)
    assert found["power_at_mass"] == pytest.approx(power, rel=1e-10)
    assert found["power_u"] == pytest.approx(power * error, rel=1e-9)
    time = 6 * 3.7 * 1.3 * 0.8 / power * 60
    assert found["endurance"] == pytest.approx(time, rel=1e-10)
    assert found["endurance_low"] == pytest.approx(time / math.exp(2 * error), rel=1e-9)
    assert found["endurance_high"] == pytest.approx(time * math.exp(2 * error), rel=1e-9)


def test_against_scipy() -> None:
    """scipy.stats.linregress on the logarithms of a dozen invented flights with noise."""
    noise = np.random.default_rng(20)
    masses = np.linspace(450, 900, 12)
    powers = 0.02 * masses**1.35 * np.exp(noise.normal(0, 0.04, 12))
    found = results([flight(m, p) for m, p in zip(masses.tolist(), powers.tolist(), strict=True)], mass=700)
    line: Any = stats.linregress(np.log(masses), np.log(powers))
    assert found["mass_exponent"] == pytest.approx(line.slope, rel=1e-9)
    assert found["exponent_u"] == pytest.approx(line.stderr, rel=1e-9)
    assert found["power_at_mass"] == pytest.approx(math.exp(line.intercept + line.slope * math.log(700)), rel=1e-9)


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

    rows = [flight(m, power(m), air_density=density, duration=f"{14.8 * 3600 / power(m)} s") for m in masses]
    found = results(rows, mass=mass, air_density=density)
    assert found["mass_exponent"] == pytest.approx(exponent, rel=1e-8)
    assert found["power_at_mass"] == pytest.approx(power(mass), rel=1e-8)
    assert found["scatter"] == (None if len(masses) == 2 else pytest.approx(0, abs=1e-8))
    standard = results(rows, mass=mass)
    assert standard["power_at_mass"] == pytest.approx(power(mass) * math.sqrt(density / 1.225), rel=1e-8)


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
    assert sorted(other["flight_powers"]) == pytest.approx(sorted(one["flight_powers"]), rel=1e-9)


def test_two_flights_of_two_masses() -> None:
    """By hand: x = ln(192/120) / ln(720/500). Both lie on the law, so scatter has no answer and says why."""
    answer = ask([THREE[0], THREE[2]], mass=600, **PACK)
    found = answer["results"]
    assert found["mass_exponent"] == pytest.approx(math.log(1.6) / math.log(1.44), rel=1e-10)
    lacking = ("exponent_u", "scatter", "power_u", "endurance_low", "endurance_high")
    assert reasons(answer) == dict.fromkeys(lacking, "no-scatter")
    assert found["endurance"] is not None


@pytest.mark.parametrize("heavier", [500, 504.9])
def test_equal_masses_hold_the_exponent(heavier: float) -> None:
    """By hand: two flights of 120 and 130 W scatter by ln(130/120) / sqrt(2).

    X is assumed to be 1.5, and so is given the spread of what small craft do.
    """
    answer = ask([flight(500, 120), flight(heavier, 130 * (heavier / 500) ** 1.5)], mass=600)
    found = answer["results"]
    assert found["mass_exponent"] == 1.5
    assert "mass_exponent" in answer["assumed"]
    assert found["scatter"] == pytest.approx(100 * math.log(130 / 120) / math.sqrt(2), rel=1e-9)
    assert found["power_at_mass"] == pytest.approx(math.sqrt(120 * 130) * 1.2**1.5, rel=1e-10)
    assert found["power_u"] == pytest.approx(found["power_at_mass"] * found["scatter"] / 100 * math.sqrt(1.5), rel=1e-9)
    assert reasons(answer)["exponent_u"] == "exponent-not-fitted"
    # By hand: u(ln P) = ln(600 / reference_mass) x 0.2; finite steps, 1e-3.
    spread = 0.2 * math.log(600 / found["reference_mass"]) * found["power_at_mass"]
    assert answer["uncertainty"]["power_at_mass"]["standard"] == pytest.approx(spread, rel=1e-3)


def test_a_given_exponent_is_held() -> None:
    """By hand: with x = 1 the level is the mean of P/m: (0.24 x 0.246667 x 0.266667)^(1/3) W/g, at 600 g 150.516 W."""
    answer = ask(THREE, mass=1200, mass_exponent=1)
    found = answer["results"]
    assert found["mass_exponent"] == 1
    assert found["power_at_mass"] == pytest.approx(2 * (120 * 148 * 192) ** (1 / 3), rel=1e-10)
    assert found["scatter"] == pytest.approx(
        100 * np.std([math.log(0.24), math.log(148 / 600), math.log(192 / 720)], ddof=1), rel=1e-9
    )
    assert reasons(answer)["exponent_u"] == "exponent-not-fitted"


def test_weighing_error_does_not_make_an_exponent_of_equal_masses() -> None:
    """By hand: two flights at 500 +- 5 g, x = 1.5 given: u(ln P(600 g)) = 1.5 x 0.01 / sqrt(2) = 0.0106066."""
    rows = [flight(500, 120, mass_u=5), {**flight(500, 130), "mass": "500 ± 5 g"}]
    held: list[Row] = [{"mass_exponent": 1.5}, {}]
    for given_too in held:
        response = ask(rows, mass=600, **given_too)
        power = response["results"]["power_at_mass"]
        spread = math.hypot(0.0106066, 0.0 if given_too else 0.2 * math.log(1.2))
        assert response["uncertainty"]["power_at_mass"]["standard"] == pytest.approx(power * spread, rel=2e-3)


def test_uncertain_flights_by_hand() -> None:
    """By hand: three flights each with 2 % in duration, at the mean mass: u(ln P) = 0.02 / sqrt(3), in even shares."""
    rows = [{**row, "duration_u": 0.02 * row["duration"]} for row in THREE]
    response = ask(rows, mass=600)["uncertainty"]["power_at_mass"]
    assert response["standard"] == pytest.approx(0.02 / math.sqrt(3) * (120 * 148 * 192) ** (1 / 3), rel=1e-3)
    assert response["shares"] == {f"flights/{n}/duration": pytest.approx(1 / 3, rel=1e-3) for n in range(3)}


@given(st.floats(0.5, 2.0), st.floats(1.0, 3.0))
def test_scaling(slower: float, heavier: float) -> None:
    """Flights k times as long draw 1/k; at a held x, power goes as mass^x; x and scatter do not know of either."""
    one = results(THREE, mass=600)
    other = results([{**row, "duration": row["duration"] * slower} for row in THREE], mass=600)
    assert other["power_at_mass"] == pytest.approx(one["power_at_mass"] / slower, rel=1e-9)
    assert other["mass_exponent"] == pytest.approx(one["mass_exponent"], rel=1e-9)
    assert other["scatter"] == pytest.approx(one["scatter"], rel=1e-9)
    further = results(THREE, mass=600 * heavier)
    assert further["power_at_mass"] == pytest.approx(one["power_at_mass"] * heavier ** one["mass_exponent"], rel=1e-9)
    assert further["power_u"] / further["power_at_mass"] >= one["power_u"] / one["power_at_mass"] * (1 - 1e-9)


def test_the_flight_time_comes_back() -> None:
    """Limit: one flight, computed again for its own pack, mass, air and reserve."""
    row = {"mass": 480, "duration": 7.25, "cells": 6, "capacity": 1100, "reserve": 22, "air_density": 1.1}
    found = results([row], mass=480, cells=6, capacity=1100, reserve=22, air_density=1.1)
    assert found["endurance"] == pytest.approx(7.25, rel=1e-11)


def test_no_time_without_a_pack() -> None:
    answer = ask(THREE, mass=600, cells=6)
    names = ("endurance", "endurance_low", "endurance_high", "usable_energy")
    assert {name: reasons(answer)[name] for name in names} == dict.fromkeys(names, "needs-input")
    assert all("without capacity" in c["text"] for c in answer["cautions"] if c["code"] == "needs-input")


SEVEN: Final = [flight(m, 0.25 * m * (1.02 if m % 100 else 1)) for m in (500, 550, 600, 650, 700, 750, 800)]
CAUTIONS: Final[dict[str, tuple[tuple[list[Row], Row], tuple[list[Row], Row]]]] = {
    # code: flights and inputs that bring it, and that do not
    "reserve-assumed": (
        ([{"mass": 500, "duration": 6, "cells": 4, "capacity": 1300}], {}),
        ([{"mass": 500, "duration": 6, "cells": 4, "capacity": 1300, "reserve": 20}], {}),
    ),
    "reserve-not-used": (([flight(500, 120, reserve=0)], {}), (THREE, {})),
    "more-than-rated": (([flight(500, 120, charge_used=1301)], {}), ([flight(500, 120, charge_used=1300)], {})),
    "mixed-voltages": (
        ([flight(500, 120, mean_voltage=15), flight(600, 140)], {}),
        ([flight(500, 120, mean_voltage=15), flight(600, 140, mean_voltage=15)], {}),
    ),
    "doubtful-exponent": (([flight(500, 120), flight(545, 134)], {}), ([flight(500, 120), flight(555, 134)], {})),
    "beyond-flown": ((THREE, {"mass": 721}), (THREE, {"mass": 720})),
    "few-flights": ((THREE, {}), (SEVEN, {})),
    "other-air": ((THREE, {"air_density": 1.0}), (THREE, {"air_density": 1.2})),
}


def codes(case: tuple[list[Row], Row]) -> set[str]:
    return {caution["code"] for caution in ask(case[0], **case[1])["cautions"]}


@pytest.mark.parametrize("code", CAUTIONS)
def test_caution_is_shown_when_it_holds_and_not_otherwise(code: str) -> None:
    shown, absent = CAUTIONS[code]
    assert code in codes(shown)
    assert code not in codes(absent)


def test_every_conditional_caution_has_a_case() -> None:
    assert {c.code for c in registry.load()[NAME].cautions if c.when is not None} == set(CAUTIONS)


@pytest.mark.parametrize(
    ("case", "code"),
    [
        pytest.param(([flight(500, 120), flight(600, 210)], {}), "doubtful-exponent", id="steeper-than-any-craft"),
        pytest.param(([flight(500, 120), flight(600, 121)], {}), "doubtful-exponent", id="flatter-than-any-craft"),
        pytest.param((THREE, {"mass": 499}), "beyond-flown", id="lighter-than-flown"),
        pytest.param(([flight(500, 120)], {"mass": 510}), "beyond-flown", id="one-flight-carried"),
        pytest.param(([flight(500, 120, mean_voltage=15)], PACK), "mixed-voltages", id="label-pack-by-measured-volts"),
    ],
)
def test_the_other_reasons_for_a_caution(case: tuple[list[Row], Row], code: str) -> None:
    assert code in codes(case)


def test_always_says_what_an_average_is() -> None:
    assert {"flown-alike", "land-early", "lithium-fire"} <= codes((THREE, {}))
