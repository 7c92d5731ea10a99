"""An open set of bench runs of nine motors with eight five-inch propellers, and the errors of the motor model on them.

bench_five_inch of the reference data: StrawsonDesign/motor_propeller_testing @ 7031418 (MIT). A supply set to 7.4 or
11.1 V and limited to 11 A, eleven throttle steps a run.
"""

import csv
import dataclasses
import functools
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, TypeAlias

import numpy as np
from scipy.optimize import least_squares

from accuracy.errors import Errors
from gramwatt import calculate
from gramwatt.model import Array, BoolArray, IndexArray
from gramwatt.physics import constants, craft, propeller

RATED_KV: Final = {"a": 2600, "b": 2500, "c": 2450, "d": 2300, "e": 2400, "f": 2350, "g": 2000, "h": 2400, "i": 2300}
PITCH: Final = (4.0, 4.5, 4.5, 4.0, 4.0, 4.5, 4.0, 5.3)
BLADES: Final = (3, 3, 3, 2, 4, 2, 3, 3)
SUPPLY: Final = {"7": 7.4, "11": 11.1}
INCH: Final = 0.0254
DIAMETER: Final = 5 * INCH
AIR_DENSITY: Final = 1.195
"""Of the room, not recorded: as the data's summary takes it."""

CHOSEN_ON: Final = "acegi"
"""The motors that the default constants were chosen with; b, d, f, h check them."""

LEFT_OUT: Final = (("b", 4), ("b", 7))
"""Two runs that contradict the rest. b with 4: 40 % less thrust at the same speed than 4 on the eight other motors. b
with 7: speed, current and thrust are those of propeller 4."""

STRONG: Final = "abc"
"""The three motors of the smallest resistance, under 0.19 ohm; the others are called weak."""

FULL: Final = 2000.0
"""Throttle signal at its end [us]."""
HELD: Final = 0.975
"""Of the supply's setting: below it the supply limited the current."""
SLOWEST: Final = 5000 * 2 * np.pi / 60
"""Slower, the no-load current is no constant and thrust coefficients fall with Reynolds number."""
FAST: Final = 8000 * 2 * np.pi / 60
FOLDS: Final = ((0, 1), (2, 3))
"""Halves of the pairs of motor and propeller, by (motor + propeller) mod 4: each has every motor and propeller."""


@dataclass(frozen=True, slots=True)
class Rows:
    """Bench rows as columns, SI units; motor and propeller by position from 0."""

    motor: IndexArray
    propeller: IndexArray
    supply: Array
    signal: Array
    thrust: Array
    voltage: Array
    current: Array
    speed: Array

    def where(self, mask: BoolArray) -> "Rows":
        """Return the rows that a mask picks."""
        return Rows(*(getattr(self, field.name)[mask] for field in dataclasses.fields(self)))

    @property
    def at_full_throttle(self) -> BoolArray:
        """Whether the throttle signal is at its end."""
        return np.asarray(self.signal == FULL)

    @property
    def supply_held(self) -> BoolArray:
        """Whether the supply held its voltage, so that it did not limit the current."""
        return np.asarray(self.voltage >= HELD * self.supply)

    def of_motors(self, names: str) -> BoolArray:
        """Whether a row's motor is one of these."""
        return np.isin(self.motor, [list(RATED_KV).index(name) for name in names])


@functools.cache
def load(folder: Path, *, everything: bool = False) -> Rows:
    """All rows in which the motor turned, without `LEFT_OUT` unless ``everything``."""
    found: list[tuple[float, ...]] = []
    for path in sorted((folder / "bench_five_inch").glob("*_*.csv")):
        letter, number, supply = path.stem[0], int(path.stem[1]), SUPPLY[path.stem.partition("_")[2]]
        if (letter, number) in LEFT_OUT and not everything:
            continue
        with path.open(encoding="utf-8-sig", newline="") as file:
            for row in csv.DictReader(file):
                signal, thrust, voltage, current, rpm = (
                    float(row[name])
                    for name in (
                        *("ESC signal (µs)", "Thrust (gf)", "Voltage (V)", "Current (A)"),
                        "Motor Electrical Speed (RPM)",
                    )
                )
                place = list(RATED_KV).index(letter), number - 1
                found.append((*place, supply, signal, thrust / 1e3 * constants.STANDARD_GRAVITY, voltage, current, rpm))
    places, others = np.split(np.array([row for row in found if row[-1] > 0]).T, [2])
    supply, signal, lift, volts, amps, speed = others
    letters, numbers = places.astype(np.intp)
    return Rows(letters, numbers, supply, signal, lift, volts, amps, speed * 2 * np.pi / 60)


@dataclass(frozen=True, slots=True)
class Predictions:
    """Errors of full-throttle, row by row, and which known values its stated ranges cover."""

    thrust: Errors
    current: Errors
    thrust_covered: float
    current_covered: float


Responses: TypeAlias = tuple[Rows, tuple[dict[str, Any], ...]]
"""Bench rows, and the response of full-throttle to each."""


@functools.cache
def catalogue(folder: Path, **more: Any) -> Responses:
    """Return the full-throttle rows, and the response to each by rated kV, propeller sizes, volts and ``more``."""
    rows = load(folder)
    full = rows.where(rows.at_full_throttle)
    return full, tuple(calculate("full-throttle", **_craft(full, at), **more) for at in range(full.motor.size))


@functools.cache
def from_one_point(folder: Path, *readings: str) -> Responses:
    """Return the full-throttle rows, and the response to each by these readings of its pair at the other volts."""
    rows = load(folder)
    full = rows.where(rows.at_full_throttle)
    places = {
        key: at for at, key in enumerate(zip(full.motor.tolist(), full.propeller.tolist(), full.supply, strict=True))
    }
    others = [places[motor, propeller, 18.5 - supply] for motor, propeller, supply in places]
    responses = tuple(
        calculate("full-throttle", **_craft(full, at), **_bench_point(full, other, readings))
        for at, other in enumerate(others)
    )
    return full, responses


def _craft(rows: Rows, at: int) -> dict[str, Any]:
    """One motor on a stiff supply of the volts that were measured at its controller."""
    return {
        "cells": 3,
        "capacity": "100 Ah",
        "cell_resistance": 0,
        "motors": 1,
        "avionics_power": 0,
        "diameter": 5,
        "air_density": AIR_DENSITY,
        "kv": list(RATED_KV.values())[rows.motor[at]],
        "pitch": PITCH[rows.propeller[at]],
        "blades": BLADES[rows.propeller[at]],
        "open_circuit_voltage": float(rows.voltage[at]),
    }


READINGS: Final = ("bench_voltage", "bench_current", "bench_thrust", "bench_speed")


def _bench_point(rows: Rows, at: int, readings: Sequence[str]) -> dict[str, Any]:
    point = {
        "bench_voltage": f"{rows.voltage[at]:.15g} V",
        "bench_current": f"{rows.current[at]:.15g} A",
        "bench_thrust": f"{rows.thrust[at]:.15g} N",
        "bench_speed": f"{rows.speed[at]:.15g} rad/s",
    }
    return {name: point[name] for name in readings}


def compare(found: Responses, which: BoolArray) -> Predictions:
    """Return the errors of the responses to these rows, and the shares inside their ranges."""
    rows, responses = found
    picked = rows.where(which)
    chosen = [response for response, pick in zip(responses, which, strict=True) if pick]

    def values(name: str, unit: float) -> Array:
        return np.array([response["results"][name] for response in chosen]) * unit

    def covered(name: str, known: Array, unit: float) -> float:
        ranges = np.array([[response["uncertainty"][name][end] for end in ("low", "high")] for response in chosen])
        low, high = ranges.T * unit
        return float(((low <= known) & (known <= high)).mean())

    gf = constants.STANDARD_GRAVITY / 1e3
    return Predictions(
        Errors.of(values("thrust", gf), picked.thrust),
        Errors.of(values("pack_current", 1), picked.current),
        covered("thrust", picked.thrust, gf),
        covered("pack_current", picked.current, 1),
    )


def thrust_coefficients(rows: Rows) -> Array:
    """Of each propeller, the median of its fast rows."""
    measured = propeller.measured_thrust_coefficient(
        rows.thrust, rows.speed, np.full_like(rows.speed, DIAMETER), np.full_like(rows.speed, AIR_DENSITY)
    )
    return np.array([np.median(measured[(rows.propeller == at) & (rows.speed > FAST)]) for at in range(len(PITCH))])


@dataclass(frozen=True, slots=True)
class Constants:
    """Fitted: speed constant, resistance and no-load current of each motor, both coefficients of each propeller. SI."""

    speed_constant: Array
    resistance: Array
    no_load_current: Array
    thrust_coefficient: Array
    power_coefficient: Array

    def drive(self, rows: Rows) -> craft.Drive:
        """One motor with its propeller on each row."""
        ones = np.ones_like(rows.speed)
        return craft.Drive(
            motors=ones,
            speed_constant=self.speed_constant[rows.motor],
            motor_resistance=self.resistance[rows.motor],
            no_load_current=self.no_load_current[rows.motor],
            diameter=DIAMETER * ones,
            thrust_coefficient=self.thrust_coefficient[rows.propeller],
            power_coefficient=self.power_coefficient[rows.propeller],
            air_density=AIR_DENSITY * ones,
        )

    def duty(self, rows: Rows) -> Array:
        """Return the duty that turns the propellers as measured, at the volts measured."""
        return craft.demand_at_speed(self.drive(rows), rows.speed, **_stiff(rows)).duty

    def operate(self, rows: Rows, duty: Array) -> craft.Operation:
        """Return what the model has at a duty and the volts measured."""
        return craft.operate(self.drive(rows), duty, **_stiff(rows))


def _stiff(rows: Rows) -> dict[str, Array]:
    """Volts were measured at the controller: nothing lies before it."""
    nothing = np.zeros_like(rows.voltage)
    return {"open_circuit_voltage": rows.voltage, "pack_resistance": nothing, "avionics_power": nothing}


def fit(rows: Rows) -> Constants:
    """Least squares on the logarithms of power at the measured speed, and of the duty that full throttle is (1)."""
    rows = rows.where(rows.speed > SLOWEST)
    full = rows.where(rows.at_full_throttle)
    coefficients, many = thrust_coefficients(rows), len(RATED_KV)

    def constants_of(logarithms: Array) -> Constants:
        kv, resistance, no_load, power = np.split(np.exp(logarithms), [many, 2 * many, 3 * many])
        return Constants(kv, resistance, no_load, coefficients, power)

    def residuals(logarithms: Array) -> Array:
        guess = constants_of(logarithms)
        found = guess.operate(rows, guess.duty(rows)).power
        return np.concatenate([np.log(found / (rows.voltage * rows.current)), np.log(guess.duty(full))])

    kv = np.array(list(RATED_KV.values())) * 2 * np.pi / 60
    start = np.concatenate([kv, np.full(many, 0.2), np.full(many, 1.0), np.full(len(PITCH), 0.08)])
    return constants_of(least_squares(residuals, np.log(start)).x)


@dataclass(frozen=True, slots=True)
class HeldOut:
    """Errors on runs that the constants were not fitted to: power and thrust at the speed measured, at any throttle.

    Current and thrust at full throttle, from the volts alone.
    """

    power: Errors
    thrust: Errors
    full_current: Errors
    full_thrust: Errors


@functools.cache
def held_out(folder: Path) -> HeldOut:
    """Each half of the pairs of motor and propeller by constants fitted to the other half."""
    rows = load(folder)
    errors: list[list[Array]] = [[], [], [], []]
    for fold in FOLDS:
        seen = np.isin((rows.motor + rows.propeller) % 4, fold)
        fitted = fit(rows.where(seen))
        other = rows.where(~seen & (rows.speed > SLOWEST))
        full = other.where(other.at_full_throttle)
        here, there = fitted.operate(other, fitted.duty(other)), fitted.operate(full, np.ones_like(full.speed))
        pairs = (
            (here.power, other.voltage * other.current),
            (here.thrust, other.thrust),
            (there.pack_current, full.current),
            (there.thrust, full.thrust),
        )
        for found, (calculated, known) in zip(errors, pairs, strict=True):
            found.append(calculated / known - 1)
    return HeldOut(*(Errors(np.concatenate(found)) for found in errors))
