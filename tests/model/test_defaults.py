"""What a form, the contract and the web component say about an input that is left empty."""

from typing import Any, Final

import pytest

from gramwatt import calculate
from gramwatt.engine import registry
from gramwatt.web.pages.description import describe_calculator

DRIVE: Final[dict[str, Any]] = {"kv": 2400, "diameter": 5, "pitch": 4.3, "cells": 4, "capacity": 1300}
BENCH: Final[dict[str, Any]] = {"bench_speed": 26600, "bench_thrust": 920, "bench_voltage": 14.8, "bench_current": 23}


@pytest.mark.parametrize(
    ("more", "member", "words"),
    [
        pytest.param({}, "assumed", "200 mΩ for propellers of 4 to 6 in", id="typical"),
        pytest.param({"stator_diameter": 22, "stator_height": 7}, "assumed", "stator diameter", id="stator"),
        pytest.param(BENCH, "computed", "computed from bench voltage, bench current and bench speed", id="bench"),
    ],
)
def test_the_text_covers_whatever_is_taken(more: dict[str, Any], member: str, words: str) -> None:
    """With and without a bench point or a stator the field has the same text, so it has to name each way."""
    assert "motor_resistance" in calculate("full-throttle", **DRIVE, **more)[member]
    described = describe_calculator(registry.load()["full-throttle"])
    (field,) = (each for each in described["inputs"] if each["name"] == "motor_resistance")
    assert words in field["default_in_words"]
    assert field["default_in_words"].index("where given") < field["default_in_words"].index("otherwise 200")


def test_an_input_without_an_assumption_has_no_such_text() -> None:
    assert registry.load()["full-throttle"].describe_default("kv") == ""
