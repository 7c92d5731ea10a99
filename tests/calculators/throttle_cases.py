"""A craft whose throttle is capped, for the tests of throttle-cap."""

from typing import Any, Final

from gramwatt import calculate

DRIVE: Final[dict[str, Any]] = {
    "kv": 2400,
    "diameter": 5,
    "pitch": 4.3,
    "blades": 3,
    "kv_deficit": 5,
    "motor_resistance": 180,
    "no_load_current": 1.1,
    "figure_of_merit": 0.6,
    "avionics_power": 6,
}
PACK: Final[dict[str, Any]] = {"cells": 6, "capacity": 1050, "cell_resistance": 12, "lead_resistance": 3}
CRAFT: Final[dict[str, Any]] = {**DRIVE, **PACK, "mass": 600}


def results(**inputs: Any) -> dict[str, Any]:
    found: dict[str, Any] = calculate("throttle-cap", **inputs)["results"]
    return found


def codes(**inputs: Any) -> set[str]:
    return {caution["code"] for caution in calculate("throttle-cap", **inputs)["cautions"]}


def full_throttle(**inputs: Any) -> dict[str, Any]:
    found: dict[str, Any] = calculate("full-throttle", **inputs)["results"]
    return found
