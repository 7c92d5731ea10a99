"""flight-comparison: every flight as in flight-log, the changes against the first; power-fit from recordings."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pytest

from calculators.test_flight_log import flight
from gramwatt import calculate
from gramwatt.engine import registry
from gramwatt.engine.calculate import InvalidInput, evaluate_request
from gramwatt.engine.response import build_response
from gramwatt.engine.sentences import build_sentence

ACCURACY: Final = "Recorded flights"
"""The section of ACCURACY.md that covers this calculator too."""

SAME = (
    "duration", "energy_used", "charge_used", "mean_power", "p95_power", "peak_power", "peak_current",
    "lowest_cell_voltage", "charge_used_share", "landing_time",
)  # fmt: skip


def flights() -> list[dict[str, Any]]:
    """Three invented ones, of different lengths and packs."""
    return [
        {"name": "fresh", "log": flight(1, resistance=0.03), "cells": 4, "capacity": 1300, "mass": 250},
        {"name": "tired", "log": flight(2, resistance=0.09, seconds=120), "cells": 4, "capacity": 1300, "mass": 250},
        {"name": "small", "log": flight(3, seconds=60), "cells": 4, "capacity": 850, "charge_put_back": 250},
    ]


def test_each_flight_is_as_in_flight_log() -> None:
    found = calculate("flight-comparison", flights=flights())["results"]["by_flight"]
    for compared, inputs in zip(found, flights(), strict=True):
        alone = calculate("flight-log", **{n: v for n, v in inputs.items() if n not in ("name", "mass")})["results"]
        assert compared["name"] == inputs["name"]
        assert {name: compared[name] for name in SAME} == pytest.approx({name: alone[name] for name in SAME}, rel=1e-11)
        assert compared["pack_resistance_per_cell"] == pytest.approx(alone["pack_resistance"] / 4, rel=1e-11)
        assert compared["cell_voltage_sag"] == pytest.approx(
            max(each["voltage_sag"] for each in alone["punch_outs"]) / 4, rel=1e-11
        )
        assert ("power_per_mass" in compared) == ("mass" in inputs)


def test_changes_are_against_the_first() -> None:
    """By definition."""
    answer = calculate("flight-comparison", flights=flights())["results"]
    first, *others = answer["by_flight"]
    assert first["mean_power_change_share"] == first["peak_current_change_share"] == 0
    for other in others:
        for name in ("mean_power", "peak_current", "cell_voltage_sag", "landing_time"):
            assert other[f"{name}_change_share"] == pytest.approx(100 * (other[name] / first[name] - 1), rel=1e-9), name
    longest = max(answer["by_flight"], key=lambda each: each["landing_time"])
    assert answer["longest_landing_time"] == longest["landing_time"]
    assert answer["by_flight"][answer["longest_flight_row"] - 1] is longest
    assert answer["longest_flight"] == longest["name"]


@pytest.mark.parametrize(
    ("name", "start"),
    [
        pytest.param("evening", 'Flight "evening" would last longest: ', id="a-name"),
        pytest.param("fresh", "Flight 2 would last longest: ", id="a-name-of-two"),
    ],
)
def test_the_headline_names_the_flight(name: str, start: str) -> None:
    recorded = [{"cells": 3, "capacity": 600}, {"cells": 3, "capacity": 6000}]
    log = {"time": [0, 30, 60], "voltage": [12.4, 12.2, 12.0], "current": [6, 6, 6]}
    given = [{**pack, "name": each, "log": log} for pack, each in zip(recorded, ("fresh", name), strict=True)]
    outcome = evaluate_request(registry.load()["flight-comparison"], {"flights": given, "longest_gap": 60})
    headline = build_sentence(outcome, 0, build_response(outcome, 0))
    assert headline is not None
    assert headline.text.startswith(start)


def test_one_sensor_off_by_a_share_changes_no_change() -> None:
    """Derived: a common scale cancels in ratios, so their uncertainty by it is nothing."""
    two = flights()[:2]
    answer = calculate("flight-comparison", flights=two, current_scale="1 ± 0.1", current_offset="0 A", voltage_scale=1)
    assert answer["uncertainty"]["by_flight.mean_power"]["standard"][1] > 5
    other = calculate("flight-comparison", flights=two, current_scale=1.2)
    for name in ("mean_power_change_share", "peak_current_change_share"):
        values = [each["results"]["by_flight"][1][name] for each in (answer, other)]
        assert values[0] == pytest.approx(values[1], rel=1e-9)


def test_a_flight_that_lacks_a_current_spoils_no_other() -> None:
    lacking = {"name": "blind", "log": {"time": [0, 1, 2], "voltage": [16, 15, 16]}, "cells": 4}
    answer = calculate("flight-comparison", flights=[flights()[0], lacking])
    first, second = answer["results"]["by_flight"]
    assert first["energy_used"] > 0
    assert second["energy_used"] is None
    assert "no-result" not in {each["code"] for each in answer["cautions"]}


def test_power_fit_takes_recordings_as_flights() -> None:
    """What flight-log says of each, given as numbers, gives the same law."""
    logs = [flight(seed, seconds=90) for seed in (1, 2, 3)]
    masses = (240, 262, 290)
    recorded = [{"mass": m, "cells": 4, "capacity": 1300, "log": log} for m, log in zip(masses, logs, strict=True)]
    listed = []
    for mass, log in zip(masses, logs, strict=True):
        found = calculate("flight-log", log=log)["results"]
        listed.append(
            {
                "mass": mass,
                "cells": 4,
                "capacity": 1300,
                "duration": found["duration"],
                "charge_used": found["charge_used"],
                "mean_voltage": found["mean_voltage"],
            }
        )
    one, other = (calculate("power-fit", flights=each)["results"] for each in (recorded, listed))
    assert one["mean_power_by_flight"] == pytest.approx(other["mean_power_by_flight"], rel=1e-9)
    assert one["mass_exponent"] == pytest.approx(other["mass_exponent"], rel=1e-8)


def test_the_chargers_charge_comes_before_the_sensors() -> None:
    log = flight(1)
    found = calculate("flight-log", log=log)["results"]
    row = {"mass": 250, "cells": 4, "capacity": 1300, "log": log, "charge_used": 900}
    power = calculate("power-fit", flights=[row])["results"]["mean_power_by_flight"][0]
    assert power == pytest.approx(found["mean_power"] * 900 / found["charge_used"], rel=1e-9)


def test_a_flight_tells_its_duration_or_has_a_recording() -> None:
    with pytest.raises(InvalidInput, match=r"/flights/0/duration: Give duration or log"):
        calculate("power-fit", flights=[{"mass": 250, "cells": 4, "capacity": 1300}])


def test_build_takes_recordings_too() -> None:
    """The average power of the only flight, at the mass that was flown, is its own."""
    log = flight(4)
    craft: dict[str, Any] = {
        "dry_mass": 190, "kv": 1800, "diameter": 5, "pitch": 4.3,
        "packs": [{"cells": 4, "capacity": 1300, "mass": 150}],
        "flights": [{"mass": 340, "cells": 4, "capacity": 1300, "log": log}],
    }  # fmt: skip
    found = calculate("build", **craft)["results"]
    flown = calculate("flight-log", log=log)["results"]["mean_power"]
    assert found["mean_power_source"] == "flights"
    assert found["by_setup"][0]["mean_power"] == pytest.approx(flown, rel=1e-6)
    assert np.isfinite(flown)
