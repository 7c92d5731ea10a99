"""What a recorded flight used: energy, charge, peaks, sag, the pack's resistance, and when to land next time."""

from dataclasses import dataclass
from typing import Annotated, Any, Final

import numpy as np

from gramwatt.calculators._shared import fields, flight_summary, logs
from gramwatt.calculators._shared.cautions import LAND_EARLY, LITHIUM_FIRE, rested_voltage
from gramwatt.model import (
    Array,
    Calculator,
    Caution,
    Count,
    Example,
    Quantity,
    Reference,
    Rule,
    StringArray,
    Table,
    Text,
    TimeSeriesChart,
)
from gramwatt.physics import cells, pack
from gramwatt.physics.loaded_pack import FEWEST


@dataclass(frozen=True, slots=True)
class Inputs:
    """The recording, the pack it was flown with, what the sensors need, and what was expected."""

    log: logs.Log
    cells: logs.FlownCells
    capacity: logs.FlownCapacity
    chemistry: fields.Chemistry
    start_charge: fields.StartCharge
    reserve: fields.Reserve
    current_scale: logs.CurrentScale
    current_offset: logs.CurrentOffset
    voltage_scale: logs.VoltageScale
    charge_put_back: logs.ChargePutBack
    begin: logs.Begin
    end: logs.End
    longest_gap: logs.LongestGap
    predicted_power: Annotated[
        Array, Quantity("W", "Average power that was expected.", above=0, at_most=1e5, optional=True)
    ]
    predicted_endurance: Annotated[
        Array, Quantity("min", "Time to the reserve that was expected.", above=0, at_most=1e4, optional=True)
    ]
    predicted_current: Annotated[
        Array, Quantity("A", "Greatest current that was expected.", above=0, at_most=1e4, optional=True)
    ]


TRAPEZOID: Final = "trapezoidal rule over the samples in order of time; gaps are left out"
BY_TIME: Final = (
    "of the time in flight, each sample standing for half the steps beside it; of more than 100,000 samples from as "
    "many evenly picked"
)
RESISTANCE: Final = (
    "least squares of voltage less the rested voltage of the charge left (where cells and capacity are given) on "
    "current, with a straight drift; at most 20,000 samples, evenly picked"
)
LANDING: Final = "when the charge came down to reserve, else carried on at mean_current"
COUNTED: Final = "counted"


@dataclass(frozen=True, slots=True)
class Results:
    """What was used, how the pack stood it, and what was left out of the recording."""

    energy: Annotated[Array, Quantity("Wh", "Energy drawn from the pack.", method=TRAPEZOID)]
    charge: Annotated[Array, Quantity("mAh", "Charge drawn from the pack.", method=TRAPEZOID)]
    duration: Annotated[Array, Quantity("min", "Time recorded, gaps left out.", method="sum of the steps that count")]
    mean_power: Annotated[Array, Quantity("W", "Average power.", formula="energy / duration")]
    peak_power: Annotated[Array, Quantity("W", "Greatest power.", method="greatest of voltage times current")]
    peak_current: Annotated[Array, Quantity("A", "Greatest current.", method="greatest sample, corrected")]
    lowest_cell_voltage: Annotated[
        Array,
        Quantity(
            "V",
            "Lowest loaded cell voltage.",
            method="lowest cell_voltage, else lowest_voltage / cells",
            needs=("cells",),
        ),
    ]
    pack_resistance: Annotated[Array, Quantity("mohm", "Of the pack with its leads.", method=RESISTANCE)]
    used: Annotated[Array, Quantity("%", "Of the capacity.", formula="charge / capacity", needs=("capacity",))]
    remaining: Annotated[
        Array, Quantity("%", "Charge left at the end.", formula="start_charge - used", needs=("capacity",))
    ]
    landing_time: Annotated[
        Array, Quantity("min", "Time at which the reserve is reached.", method=LANDING, needs=("capacity",))
    ]
    expected_endurance: Annotated[
        Array,
        Quantity(
            "min",
            "What endurance says of this pack at mean_power.",
            method="as in endurance, with the resistance found here, else the usual one",
            needs=("cells", "capacity"),
        ),
    ]
    resistance_u: Annotated[
        Array, Quantity("mohm", "Standard error of pack_resistance by the samples' own scatter.", method=RESISTANCE)
    ]
    mean_current: Annotated[Array, Quantity("A", "Average current.", formula="charge / duration")]
    mean_voltage: Annotated[Array, Quantity("V", "Average voltage, by charge.", formula="energy / charge")]
    median_power: Annotated[Array, Quantity("W", "Power exceeded half of the time.", method=BY_TIME)]
    power_p95: Annotated[Array, Quantity("W", "Power exceeded 5 % of the time.", method=BY_TIME)]
    median_current: Annotated[Array, Quantity("A", "Current exceeded half of the time.", method=BY_TIME)]
    current_p95: Annotated[Array, Quantity("A", "Current exceeded 5 % of the time.", method=BY_TIME)]
    lowest_voltage: Annotated[Array, Quantity("V", "Lowest loaded pack voltage.", method="lowest sample, corrected")]
    lowest_at: Annotated[Array, Quantity("s", "When that was, from the first sample.", method="time of that sample")]
    mean_throttle: Annotated[Array, Quantity("%", "Average throttle.", method=TRAPEZOID)]
    peak_throttle: Annotated[Array, Quantity("%", "Greatest throttle.", method="greatest sample")]
    scale_used: Annotated[
        Array,
        Quantity(
            "1", "True over recorded current.", method="charge_put_back over what was recorded, else current_scale"
        ),
    ]
    power_deviation: Annotated[
        Array,
        Quantity(
            "%",
            "Mean power above the expected.",
            formula="mean_power / predicted_power - 1",
            needs=("predicted_power",),
        ),
    ]
    endurance_deviation: Annotated[
        Array,
        Quantity(
            "%",
            "Landing time above the expected.",
            formula="landing_time / predicted_endurance - 1",
            needs=("predicted_endurance", "capacity"),
        ),
    ]
    current_deviation: Annotated[
        Array,
        Quantity(
            "%",
            "Peak current above the expected.",
            formula="peak_current / predicted_current - 1",
            needs=("predicted_current",),
        ),
    ]
    samples: Annotated[Array, Count("Samples recorded.", at_least=0, at_most=5_000_000, method=COUNTED)]
    samples_used: Annotated[Array, Count("Samples used.", at_least=0, at_most=5_000_000, method=COUNTED)]
    usual_step: Annotated[Array, Quantity("s", "Usual time between samples.", method="median of the steps")]
    gap_time: Annotated[Array, Quantity("s", "Time in gaps, left out.", method="sum of the steps that do not count")]
    unused_columns: Annotated[
        StringArray, Text("Columns of the recording that were not used.", max_length=300, method="their names")
    ]
    punch_outs: Annotated[
        logs.PunchOut,
        Table(logs.PunchOut, "Bursts of high current, in order of time.", min_length=0, max_length=200),
    ]
    left_out: Annotated[logs.LeftOut, Table(logs.LeftOut, "What was left out, and why.", min_length=0, max_length=60)]


def flight_log(given: Inputs) -> Results:
    """Integrals, extremes and percentiles of a recorded flight, and the pack's resistance from its own sag.

    It knows what the sensors recorded at the moments they did: peaks between samples are missed, and a current sensor
    may be off by some per cent until it is calibrated with the charge that the charger put back. Resistance holds for
    loads of seconds, and for the temperature of that flight.
    """
    told = flight_summary.of_recordings(
        given.log,
        flight_summary.Pack(given.cells, given.capacity, given.chemistry, given.start_charge, given.reserve),
        flight_summary.Sensors(given.current_scale, given.current_offset, given.voltage_scale, given.charge_put_back),
        longest_gap=given.longest_gap,
        begin=given.begin,
        end=given.end,
    )
    found = told.summary
    return Results(
        energy=found.energy,
        charge=found.charge,
        duration=found.duration,
        mean_power=found.mean_power,
        peak_power=found.peak_power,
        peak_current=found.peak_current,
        lowest_cell_voltage=found.lowest_cell_voltage,
        pack_resistance=found.pack_resistance,
        used=found.used,
        remaining=found.remaining,
        landing_time=found.reserve_at,
        expected_endurance=_modelled(given, found),
        resistance_u=found.pack_resistance_u,
        mean_current=found.mean_current,
        mean_voltage=found.mean_voltage,
        median_power=found.median_power,
        power_p95=found.power_p95,
        median_current=found.median_current,
        current_p95=found.current_p95,
        lowest_voltage=found.lowest_voltage,
        lowest_at=found.lowest_at,
        mean_throttle=found.mean_throttle,
        peak_throttle=found.peak_throttle,
        scale_used=found.current_scale,
        power_deviation=found.mean_power / given.predicted_power - 1,
        endurance_deviation=found.reserve_at / given.predicted_endurance - 1,
        current_deviation=found.peak_current / given.predicted_current - 1,
        samples=told.samples,
        samples_used=told.samples_used,
        usual_step=told.usual_step,
        gap_time=told.gap_time,
        unused_columns=told.unused_columns,
        punch_outs=told.punch_outs,
        left_out=told.left_out,
    )


def _modelled(given: Inputs, found: flight_summary.FlightSummary) -> Array:
    """Time to the reserve at the mean power, by the model that `endurance` uses."""
    usual = given.cells * cells.usual_resistance(given.capacity)
    resistance = np.where(np.isnan(found.pack_resistance), usual, found.pack_resistance)
    discharge = pack.constant_power_discharge(
        cells.OPEN_CIRCUIT_VOLTAGE[given.chemistry],
        power=found.mean_power / given.cells,
        resistance=resistance / given.cells,
        charge=given.capacity,
        start=given.start_charge,
        reserve=given.reserve,
        cutoff=cells.CUTOFF_VOLTAGE[given.chemistry],
    )
    known = np.isfinite(given.cells) & np.isfinite(given.capacity) & (found.mean_power > 0)
    return np.where(known, discharge.duration, np.nan)


CURRENT: Final = ("charge", "mean_current", "peak_current", "median_current", "current_p95", "scale_used")
POWER: Final = ("energy", "mean_power", "peak_power", "median_power", "power_p95", "mean_voltage")
CHARGE: Final = ("used", "remaining", "landing_time")
VOLTAGE: Final = ("lowest_voltage", "lowest_cell_voltage", "lowest_at")
FIT: Final = ("pack_resistance", "resistance_u")
EXPECTED: Final = ("expected_endurance", "power_deviation", "endurance_deviation", "current_deviation")


def _lacks(*channels: str) -> Any:
    """Whether none of a channel was recorded."""
    return lambda given, found: flight_summary.lacks(given.log, channels)


CALCULATOR = Calculator(
    title="What did this flight use?",
    summary="Energy, charge, peaks, sag and the pack's resistance from a recorded flight, and when to land.",
    inputs=Inputs,
    results=Results,
    formula=flight_log,
    category="after",
    chart=TimeSeriesChart(
        lambda given, found: flight_summary.trace(
            given.log,
            longest_gap=given.longest_gap,
            begin=given.begin,
            end=given.end,
            sensors=flight_summary.Sensors(
                found.scale_used, given.current_offset, given.voltage_scale, np.full(1, np.nan)
            ),
        ),
        recording="log",
        spans="punch_outs",
        spans_are="punch-outs",
    ),
    rules=(
        Rule(
            "too-few-samples",
            "Of {samples} samples {samples_used} can be used; two in order of time are the least. left_out says why.",
            when=lambda given, found: found.samples_used < 2,
            results=("duration", *POWER, *CURRENT, *CHARGE, *FIT, *VOLTAGE, *EXPECTED, "usual_step"),
        ),
        Rule(
            "no-current",
            "The recording has no current, so only time and volts are answered. Columns that were not used: "
            "{unused_columns}; current_column=... names the one.",
            when=_lacks("current"),
            results=(*POWER, *CURRENT, *CHARGE, *FIT, *EXPECTED),
        ),
        Rule(
            "no-voltage",
            "The recording has no voltage, so charge and current alone are answered. Columns that were not used: "
            "{unused_columns}; voltage_column=... names the one.",
            when=_lacks("voltage"),
            results=(*POWER, *VOLTAGE, *FIT, "expected_endurance", "power_deviation"),
        ),
        Rule(
            "nothing-drawn",
            "The current adds up to nothing: see that its column and unit are right.",
            when=lambda given, found: found.charge <= 0,
            results=("mean_voltage", "scale_used", "landing_time", "expected_endurance", "endurance_deviation"),
        ),
        Rule(
            "too-few-for-resistance",
            f"Resistance is found from {FEWEST} samples or more of both voltage and current; here {{samples_used}} can "
            "be used.",
            when=lambda given, found: found.samples_used < FEWEST,
            results=FIT,
        ),
        Rule(
            "steady-current",
            "The current hardly varies against what the voltage does beside it, so nothing tells resistance from "
            "charge: record a few full-throttle punches.",
            when=lambda given, found: np.isnan(found.pack_resistance),
            results=FIT,
        ),
        Rule(
            "no-throttle",
            "The recording has no throttle.",
            when=_lacks("throttle"),
            results=("mean_throttle", "peak_throttle"),
        ),
    ),
    references=(
        Reference(
            "Trapezoidal rule: Abramowitz & Stegun, Handbook of Mathematical Functions, 25.4.2 (from memory); tests "
            "compare with SciPy and closed forms"
        ),
        Reference(
            "Standard error of a slope with correlated residuals: Newey & West 1987, Econometrica 55(3) (from memory)",
            about=FIT,
        ),
        rested_voltage("pack_resistance", "expected_endurance"),
    ),
    cautions=(
        LITHIUM_FIRE,
        LAND_EARLY,
        Caution(
            "left-out",
            "Of {samples} samples {samples_used} were used; left_out says which were not, and why.",
            when=lambda given, found: found.samples_used < found.samples,
        ),
        Caution(
            "not-calibrated",
            "The current sensor is taken to be right within 5 %, a judgement. Give charge_put_back, what the charger "
            "put back after this flight, to calibrate it.",
            assumed="current_scale",
        ),
        Caution(
            "few-samples",
            "Only {samples_used} samples: what happened between them is not known.",
            when=lambda given, found: (found.samples_used >= 2) & (found.samples_used < 50),
        ),
        Caution(
            "slow-recording",
            "Samples are {usual_step} apart: peaks of a punch fall between them.",
            when=lambda given, found: found.usual_step > flight_summary.SLOW,
        ),
        Caution(
            "odd-clock",
            "Samples are {usual_step} apart. If the times are milliseconds or microseconds, say so in the header: "
            "time [ms], time [us].",
            when=lambda given, found: found.usual_step > flight_summary.ODD,
        ),
        Caution(
            "gaps",
            "{gap_time} of the recording is in gaps, and nothing of it is counted in energy and charge.",
            when=lambda given, found: found.gap_time > 0,
        ),
        Caution(
            "clock-went-back",
            "Times go back in the recording: what was recorded again was left out. Two flights in one recording? Send "
            "each by itself.",
            when=lambda given, found: flight_summary.any_left_out(found.left_out, "backward-time"),
        ),
        Caution(
            "more-than-held",
            "More charge was recorded than the pack held ({used} of it): check capacity, start_charge and the current "
            "sensor.",
            when=lambda given, found: found.used > given.start_charge,
        ),
        Caution(
            "into-the-reserve",
            "The flight ended with {remaining} in the pack, below the reserve of {reserve}.",
            when=lambda given, found: (found.remaining < given.reserve) & (found.remaining >= 0),
        ),
        Caution(
            "deep-sag",
            "A cell came down to {lowest_cell_voltage} under load, below the usual cut-off of its chemistry.",
            when=lambda given, found: found.lowest_cell_voltage < cells.CUTOFF_VOLTAGE[given.chemistry],
        ),
    ),
    examples=(
        Example(
            "An invented flight of a minute: hover at 8 A, one punch of 40 A, on a 4-cell pack",
            given={
                "log": {
                    "time": [0, 20, 20.5, 22.5, 23, 60],
                    "voltage": [16.6, 16.4, 15.8, 15.8, 16.3, 16.2],
                    "current": [8, 8, 40, 40, 8, 8],
                    "throttle": [35, 35, 100, 100, 35, 35],
                },
                "cells": 4,
                "capacity": 850,
                "predicted_power": 140,
                "predicted_endurance": 4,
                "predicted_current": 45,
                "longest_gap": 60,
            },
            expected={
                "charge": 155.556,
                "duration": 1,
                "peak_current": 40,
                "peak_power": 632,
                "used": 18.3007,
                "lowest_cell_voltage": 3.95,
            },
            rtol=5e-6,
            source="by hand: 8 x 57 + (24 x 0.5) x 2 + 40 x 2 = 560 A s = 155.556 mAh; 40 A x 15.8 V = 632 W",
        ),
        Example(
            "An invented flight of a minute at a steady 6 A, on a 3-cell pack",
            given={
                "log": {"time": [0, 30, 60], "voltage": [12.4, 12.2, 12.0], "current": [6, 6, 6]},
                "cells": 3,
                "capacity": 600,
                "longest_gap": 60,
            },
            expected={"energy": 1.22, "charge": 100, "peak_power": 74.4, "used": 16.66667, "lowest_cell_voltage": 4.0},
            rtol=5e-6,
            source="by hand: 6 A x 60 s = 100 mAh of 600; 6 A x 12.2 V on average = 73.2 W for a minute = 1.22 Wh",
        ),
    ),
)
