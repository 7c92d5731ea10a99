"""Times in responses count from the first sample, whatever clock a recording has and wherever its use begins."""

from __future__ import annotations

import copy
from typing import Any

import pytest

import gramwatt
from gramwatt.engine import registry
from gramwatt.model import AnyCalculator

CLOCK = 1_772_000_000.0
"""Seconds of a clock that counts from 1970."""
RECORDED = [calculator for calculator in registry.load().values() if calculator.takes_recordings]


def shift(value: Any, seconds: float) -> Any:
    """Return inputs with the times of each recording on another clock."""
    if isinstance(value, dict) and isinstance(value.get("time"), list):
        return {**value, "time": [time + seconds for time in value["time"]]}
    if isinstance(value, dict):
        return {name: shift(each, seconds) for name, each in value.items()}
    return [shift(each, seconds) for each in value] if isinstance(value, list) else value


def list_values(value: Any) -> list[Any]:
    """Return all values of results, a text or null as its repr."""
    if isinstance(value, dict | list):
        return [each for part in (value.values() if isinstance(value, dict) else value) for each in list_values(part)]
    return [value if isinstance(value, int | float) else repr(value)]


@pytest.mark.parametrize("calculator", RECORDED, ids=lambda calculator: calculator.name)
def test_the_clock_does_not_matter(calculator: AnyCalculator) -> None:
    for example in calculator.examples:
        inputs = copy.deepcopy(dict(example.given))
        before, after = (
            list_values(gramwatt.calculate(calculator.name, **shift(inputs, seconds))["results"])
            for seconds in (0.0, CLOCK)
        )
        assert len(after) == len(before)
        for old, new in zip(before, after, strict=True):
            assert new == (old if isinstance(old, str) else pytest.approx(old, rel=1e-5, abs=1e-5))


def test_what_is_left_out_before_does_not_matter() -> None:
    """So a time in a response can be the begin of the next request."""
    time = [5000 + at / 8 for at in range(400)]
    current = [40.0 if 10 < at / 8 % 20 < 12 else 6.0 for at in range(400)]
    log: dict[str, Any] = {
        "time": time,
        "voltage": [16.8 - amperes / 100 - at / 999 for at, amperes in enumerate(current)],
    }
    begins: tuple[dict[str, Any], ...] = ({}, {"start_time": 25})
    whole, part = (
        gramwatt.calculate("flight-log", cells=4, capacity=850, log={**log, "current": current}, **more)["results"]
        for more in begins
    )
    assert [each["punch_start_time"] for each in whole["punch_outs"]] == [10.125, 30.125]
    assert [each["punch_start_time"] for each in part["punch_outs"]] == [30.125]
    assert part["lowest_voltage_time"] == whole["lowest_voltage_time"] == 31.875
