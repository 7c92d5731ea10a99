"""Which calculators go on from a response, and with which inputs."""

from __future__ import annotations

from typing import Any

import pytest

from gramwatt import calculate
from gramwatt.engine import registry
from gramwatt.engine.next import MAX_SUGGESTIONS, Suggestion, _Filler, suggest_next
from gramwatt.model import Calculator, Quantity, units

CALCULATORS = list(registry.load().values())
PACK: dict[str, Any] = {"cells": 6, "capacity": 1300}
MOTOR: dict[str, Any] = {"kv": 1750, "diameter": 5.1, "pitch": 3.6}


def find(suggestions: tuple[Suggestion, ...], name: str) -> Suggestion:
    return next(each for each in suggestions if each.calculator == name)


@pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: calculator.name)
def test_an_input_follows_results_of_its_dimension(calculator: Calculator[Any, Any]) -> None:
    for name, kind in calculator.input_fields.items():
        for result in kind.follows:
            found = [each.result_fields[result] for each in CALCULATORS if result in each.result_fields]
            assert found, f"{name} follows {result}, which is no result"
            assert isinstance(kind, Quantity)
            for each in found:
                assert isinstance(each, Quantity)
                assert units.get_unit(each.unit).dimension == units.get_unit(kind.unit).dimension


@pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: calculator.name)
def test_what_is_filled_can_be_computed(calculator: Calculator[Any, Any]) -> None:
    """From the first two examples of each calculator: a suggestion without missing inputs gives a response."""
    for example in calculator.examples[:2]:
        suggestions = suggest_next(calculate(calculator.name, **dict[str, Any](example.given)))
        assert len(suggestions) <= MAX_SUGGESTIONS
        assert calculator.name not in [each.calculator for each in suggestions]
        for suggestion in suggestions:
            assert suggestion.inputs.keys() <= registry.get(suggestion.calculator).input_fields.keys()
            assert suggestion.inputs.keys().isdisjoint(suggestion.missing)
            if not suggestion.missing:
                assert calculate(suggestion.calculator, **dict[str, Any](suggestion.inputs))["results"]


def test_the_power_of_a_hover_goes_on_to_the_pack() -> None:
    """The rounded power with its uncertainty, and the pack of the request; what was assumed there is left out."""
    response = calculate("hover-power", mass=581.8, diameter=5.1, cells=6, capacity="1.3 Ah")
    suggestion = find(suggest_next(response), "pack-current")
    value, _, uncertainty = str(suggestion.inputs["pack_power"]).partition(" ± ")
    assert float(value) == pytest.approx(response["results"]["hover_power"], rel=0.01)
    assert float(uncertainty) == pytest.approx(response["uncertainty"]["hover_power"]["standard"], rel=0.05)
    assert suggestion.from_results == {"pack_power": "pack_power"}
    assert {name: suggestion.inputs[name] for name in PACK} == PACK
    assert "chemistry" not in suggestion.inputs
    assert suggestion.missing == ()


def test_a_result_in_another_unit_is_converted() -> None:
    inputs: dict[str, Any] = {
        "mass": "581.8 ± 0 g",
        "diameter": 5.1,
        "drive_efficiency": 70,
        "figure_of_merit": 0.6,
        "avionics_power": 5,
    }
    watts, kilowatts = (
        calculate("hover-power", units=chosen, **PACK, **inputs)
        for chosen in ({"hover_power": "W"}, {"hover_power": "kW"})
    )
    assert kilowatts["units"]["hover_power"] == "kW"
    powers = [find(suggest_next(each), "pack-current").inputs["pack_power"] for each in (watts, kilowatts)]
    assert powers[0] == powers[1]


def test_a_result_that_rests_on_an_assumption_is_no_measurement() -> None:
    """The resistance of `flight-log` is measured; that of `endurance` follows from its own assumption."""
    flight = {"time": [0, 10, 20, 30], "voltage": [25.0, 22.5, 25.0, 22.5], "current": [2, 40, 2, 40]}
    response = calculate("flight-log", log=flight, **PACK)
    measured = {**response, "results": {**response["results"], "pack_resistance": 65.0}}
    assert find(suggest_next(measured), "pack-current").inputs["pack_resistance"] == 65.0
    assumed = _Filler(registry.get("pack-current"), calculate("endurance", mean_power=200, **PACK))
    assert assumed.inputs["capacity"] == PACK["capacity"]
    assert "pack_resistance" not in assumed.inputs


def test_a_result_goes_on_with_the_charge_that_it_rests_on() -> None:
    """By definition: the current of the power at full throttle is the current at full throttle."""
    pack = {**PACK, "cell_resistance": 4}
    response = calculate("full-throttle", **pack, **MOTOR)
    suggestion = find(suggest_next(response), "pack-current")
    assert suggestion.inputs["state_of_charge"] == 100
    results = calculate("pack-current", **dict[str, Any](suggestion.inputs))["results"]
    assert results["pack_current"] == pytest.approx(response["results"]["pack_current"], rel=1e-4)
    stated = calculate("full-throttle", **pack, **MOTOR, state_of_charge=80)
    assert find(suggest_next(stated), "pack-current").inputs["state_of_charge"] == 80


def test_rounding_takes_a_power_past_no_limit() -> None:
    """The most that a pack gives is drawn with half the voltage left; a power rounded up would be too much for it."""
    most = calculate("pack-current", pack_power=100, **PACK)["results"]["maximum_pack_power"]
    response = calculate("hover-power", mass=500, diameter=5)
    for power in (most * 0.9999, most * 0.999):
        changed = {**response, "results": {**response["results"], "hover_power": power}}
        changed["uncertainty"] = {"hover_power": {"standard": 0.2 * power}}
        inputs: dict[str, Any] = {**find(suggest_next(changed), "pack-current").inputs, "state_of_charge": 50}
        assert calculate("pack-current", **PACK, **inputs)["results"]["pack_current"] is not None


def test_the_required_inputs_that_are_missing_are_named() -> None:
    suggestion = find(suggest_next(calculate("throttle-cap", target_cells=4, kv=2400, cells=6)), "full-throttle")
    assert set(suggestion.missing) == {"capacity", "diameter", "pitch"}
    assert "throttle_cap" in suggestion.inputs


def test_a_calculator_that_takes_a_result_comes_first() -> None:
    suggestions = suggest_next(calculate("full-throttle", **PACK, **MOTOR))
    taken = [bool(each.from_results) for each in suggestions]
    assert taken[0]
    assert taken == sorted(taken, reverse=True)


def test_a_result_fills_one_input_only() -> None:
    """The current in hover is the average current of a wire, not its peak too; at full throttle it is the peak."""
    hover = calculate("hover-power", mass=581.8, diameter=5.1, **PACK)
    filled = _Filler(registry.get("wire-drop"), hover)
    assert filled.from_results["mean_current"] == "pack_current"
    assert "peak_current" not in filled.from_results
    full = calculate("full-throttle", mass=581.8, **PACK, **MOTOR)
    filled = _Filler(registry.get("wire-drop"), full)
    assert filled.from_results["mean_current"] == "hover_current"
    assert filled.from_results["peak_current"] == "pack_current"
