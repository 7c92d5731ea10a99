"""Energy, charge, peaks, sag and pack resistance from a recorded flight, and when to land next time."""

from dataclasses import dataclass
from typing import Annotated, Final

import numpy as np

from gramwatt.calculators._shared import fields, flight_summary, log_cautions, logs, sentences
from gramwatt.calculators._shared.cautions import LAND_EARLY, LITHIUM_FIRE, rested_voltage
from gramwatt.calculators._shared.log_cautions import no_channel
from gramwatt.model import (
    Array,
    BarChart,
    Calculator,
    Example,
    Group,
    Quantity,
    Reference,
    Rule,
    StringArray,
    Table,
    Text,
    TimeSeriesChart,
)
from gramwatt.physics.loaded_pack import MIN_SAMPLES


@dataclass(frozen=True, slots=True)
class Inputs:
    """The recording, its pack, corrections of the sensors, and predictions to compare with."""

    log: logs.Log
    cells: fields.OptionalCells
    capacity: fields.OptionalCapacity
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
        Array,
        fields.optional_quantity(
            "W", "Predicted average power.", group=Group.FLIGHT, at_most=1e5, follows=("power_at_mass", "implied_power")
        ),
    ]
    predicted_endurance: Annotated[
        Array,
        fields.optional_quantity(
            "min",
            "Predicted time to the reserve.",
            label="Predicted flight time",
            group=Group.FLIGHT,
            at_most=1e4,
            follows=("endurance",),
        ),
    ]
    predicted_current: Annotated[
        Array,
        fields.optional_quantity(
            "A", "Predicted maximum current.", group=Group.FLIGHT, at_most=1e4, follows=("pack_current", "current")
        ),
    ]
    resistance_error: logs.ResistanceError


TRAPEZOID: Final = "trapezoidal rule over the samples in order of time; gaps are left out"
BY_TIME: Final = (
    "percentile by time in flight, each sample weighted by half the steps beside it; more than 100,000 samples are "
    "thinned evenly"
)
RESISTANCE: Final = (
    "least squares of voltage, less the rested voltage at the charge left (where cells and capacity are given), on "
    "current, with a linear drift; more than 5,000 samples are averaged in groups"
)
LANDING: Final = "when the charge reached the reserve, else extrapolated at the mean current"


@dataclass(frozen=True, slots=True)
class Results:
    """Use of the pack in this flight, its condition, and the samples that were left out."""

    energy: Annotated[
        Array, Quantity("Wh", "Energy drawn from the pack.", label="Energy used", signed=True, method=TRAPEZOID)
    ]
    charge: Annotated[
        Array, Quantity("mAh", "Charge drawn from the pack.", label="Charge used", signed=True, method=TRAPEZOID)
    ]
    duration: Annotated[
        Array,
        Quantity(
            "min", "Recorded time without gaps.", label="Recorded time", method="sum of the steps that are no gaps"
        ),
    ]
    mean_power: Annotated[Array, Quantity("W", "Average power.", signed=True, formula="energy / duration")]
    peak_power: Annotated[Array, Quantity("W", "Maximum power.", signed=True, method="maximum of voltage × current")]
    peak_current: Annotated[Array, Quantity("A", "Maximum current.", signed=True, method="highest sample, corrected")]
    lowest_cell_voltage: Annotated[
        Array,
        Quantity(
            "V",
            "Lowest loaded cell voltage.",
            method="lowest recorded cell voltage, else lowest voltage over cells",
            needs=("cells",),
        ),
    ]
    pack_resistance: Annotated[Array, Quantity("mohm", "Resistance of the pack with its leads.", method=RESISTANCE)]
    used: Annotated[
        Array,
        Quantity(
            "%",
            "Share of capacity used.",
            label="Capacity used",
            signed=True,
            formula="charge / capacity",
            needs=("capacity",),
        ),
    ]
    remaining: Annotated[
        Array,
        Quantity(
            "%",
            "Charge left at the end.",
            label="Charge left",
            signed=True,
            formula="start_charge - used",
            needs=("capacity",),
        ),
    ]
    landing_time: Annotated[
        Array,
        Quantity(
            "min", "Time at which the reserve is reached.", label="Time to reserve", method=LANDING, needs=("capacity",)
        ),
    ]
    expected_endurance: Annotated[
        Array,
        Quantity(
            "min",
            "Flight time by the endurance calculator at this mean power.",
            label="Expected flight time",
            method="as in endurance, with the resistance found here, else the typical one",
            needs=("cells", "capacity"),
        ),
    ]
    mean_current: Annotated[Array, Quantity("A", "Average current.", signed=True, formula="charge / duration")]
    mean_voltage: Annotated[Array, Quantity("V", "Average voltage, weighted by charge.", formula="energy / charge")]
    median_power: Annotated[Array, Quantity("W", "Power exceeded half of the time.", signed=True, method=BY_TIME)]
    power_p95: Annotated[
        Array,
        Quantity("W", "Power exceeded 5 % of the time.", label="Power, 95th percentile", signed=True, method=BY_TIME),
    ]
    median_current: Annotated[Array, Quantity("A", "Current exceeded half of the time.", signed=True, method=BY_TIME)]
    current_p95: Annotated[
        Array,
        Quantity(
            "A", "Current exceeded 5 % of the time.", label="Current, 95th percentile", signed=True, method=BY_TIME
        ),
    ]
    lowest_voltage: Annotated[
        Array,
        Quantity("V", "Lowest loaded pack voltage.", label="Lowest pack voltage", method="lowest sample, corrected"),
    ]
    lowest_at: Annotated[
        Array,
        Quantity(
            "s",
            "Time of the lowest pack voltage from the first sample.",
            label="Time of lowest voltage",
            method="time of that sample",
        ),
    ]
    mean_throttle: Annotated[Array, Quantity("%", "Average throttle.", signed=True, method=TRAPEZOID)]
    peak_throttle: Annotated[Array, Quantity("%", "Maximum throttle.", signed=True, method="highest sample")]
    scale_used: Annotated[
        Array,
        Quantity(
            "1",
            "True over recorded current.",
            label="Current sensor scale used",
            method="charge put back over recorded charge, else current scale",
        ),
    ]
    power_deviation: Annotated[
        Array,
        Quantity(
            "%",
            "Mean power over its prediction, less 1.",
            label="Power off prediction",
            signed=True,
            formula="mean_power / predicted_power - 1",
            needs=("predicted_power",),
        ),
    ]
    endurance_deviation: Annotated[
        Array,
        Quantity(
            "%",
            "Landing time over its prediction, less 1.",
            label="Flight time off prediction",
            at_least=-100,
            formula="landing_time / predicted_endurance - 1",
            needs=("predicted_endurance", "capacity"),
        ),
    ]
    current_deviation: Annotated[
        Array,
        Quantity(
            "%",
            "Peak current over its prediction, less 1.",
            label="Current off prediction",
            signed=True,
            formula="peak_current / predicted_current - 1",
            needs=("predicted_current",),
        ),
    ]
    samples: fields.Samples
    samples_used: fields.SamplesUsed
    usual_step: Annotated[
        Array, Quantity("s", "Usual time between samples.", label="Usual sample interval", method="median of the steps")
    ]
    gap_time: Annotated[
        Array, Quantity("s", "Time in gaps, left out.", label="Time in gaps", method="sum of the steps that are gaps")
    ]
    unused_columns: Annotated[
        StringArray, Text("Columns of the recording that were not used.", max_length=300, method="their names")
    ]
    punch_outs: Annotated[
        logs.PunchOut,
        Table(
            logs.PunchOut, "Bursts of high current, in order of time.", label="Punch-outs", min_length=0, max_length=200
        ),
    ]
    left_out: Annotated[
        logs.LeftOut,
        Table(logs.LeftOut, "Samples left out, by reason.", label="Samples left out", min_length=0, max_length=60),
    ]


def flight_log(given: Inputs) -> Results:
    """Compute integrals, extremes and percentiles of a recorded flight, and the pack's resistance from its sag.

    The results are those of the recorded samples: peaks between them are missed, and a current sensor may be off by a
    few per cent until it is calibrated with the charge that the charger put back. The resistance is valid for loads of
    seconds, and for the temperature of that flight.
    """
    flight_pack = flight_summary.FlightPack(
        given.cells, given.capacity, given.chemistry, given.start_charge, given.reserve
    )
    log = flight_summary.summarize_recordings(
        given.log,
        flight_pack,
        flight_summary.SensorCorrections(
            given.current_scale,
            given.current_offset,
            given.voltage_scale,
            given.charge_put_back,
            given.resistance_error,
        ),
        longest_gap=given.longest_gap,
        begin=given.begin,
        end=given.end,
    )
    flight = log.summary
    return Results(
        energy=flight.energy,
        charge=flight.charge,
        duration=flight.duration,
        mean_power=flight.mean_power,
        peak_power=flight.peak_power,
        peak_current=flight.peak_current,
        lowest_cell_voltage=flight.lowest_cell_voltage,
        pack_resistance=flight.pack_resistance,
        used=flight.used,
        remaining=flight.remaining,
        landing_time=flight.reserve_at,
        expected_endurance=flight_summary.model_endurance(flight, flight_pack),
        mean_current=flight.mean_current,
        mean_voltage=flight.mean_voltage,
        median_power=flight.median_power,
        power_p95=flight.power_p95,
        median_current=flight.median_current,
        current_p95=flight.current_p95,
        lowest_voltage=flight.lowest_voltage,
        lowest_at=flight.lowest_at,
        mean_throttle=flight.mean_throttle,
        peak_throttle=flight.peak_throttle,
        scale_used=flight.current_scale,
        power_deviation=flight.mean_power / given.predicted_power - 1,
        endurance_deviation=flight.reserve_at / given.predicted_endurance - 1,
        current_deviation=flight.peak_current / given.predicted_current - 1,
        samples=log.samples,
        samples_used=log.samples_used,
        usual_step=log.usual_step,
        gap_time=log.gap_time,
        unused_columns=log.unused_columns,
        punch_outs=log.punch_outs,
        left_out=log.left_out,
    )


CURRENT: Final = ("charge", "mean_current", "peak_current", "median_current", "current_p95", "scale_used")
POWER: Final = ("energy", "mean_power", "peak_power", "median_power", "power_p95", "mean_voltage")
CHARGE: Final = ("used", "remaining", "landing_time")
VOLTAGE: Final = ("lowest_voltage", "lowest_cell_voltage", "lowest_at")
FIT: Final = ("pack_resistance",)
EXPECTED: Final = ("expected_endurance", "power_deviation", "endurance_deviation", "current_deviation")


CALCULATOR = Calculator(
    title="What did this flight use?",
    summary="Energy, charge, peaks, sag and the pack's resistance from a recorded flight, and when to land.",
    inputs=Inputs,
    results=Results,
    formula=flight_log,
    category="after",
    sentences=sentences.FLIGHT_LOG,
    charts=(
        TimeSeriesChart(
            lambda given, found: flight_summary.corrected_channels(
                given.log,
                longest_gap=given.longest_gap,
                begin=given.begin,
                end=given.end,
                corrections=flight_summary.SensorCorrections(
                    found.scale_used, given.current_offset, given.voltage_scale, np.full(1, np.nan), np.zeros(1)
                ),
            ),
            recording="log",
            spans="punch_outs",
            spans_are="punch-outs",
            title="The flight over time",
        ),
        BarChart(("sag", "peak_current"), table="punch_outs", label="start", title="Sag of each punch-out"),
        BarChart(("power_deviation", "endurance_deviation", "current_deviation"), title="Flown over predicted"),
    ),
    rules=(
        Rule(
            "too-few-samples",
            "Only {samples_used} of {samples} samples can be used; at least two in order of time are required. See the "
            "samples left out for the reasons.",
            when=lambda given, found: found.samples_used < 2,
            results=("duration", *POWER, *CURRENT, *CHARGE, *FIT, *VOLTAGE, *EXPECTED, "usual_step"),
        ),
        no_channel(
            "current",
            "The recording has no current, so there are results for time and voltage only. Columns that were not used: "
            "{unused_columns}. To choose one, name it as the column of the current.",
            (*POWER, *CURRENT, *CHARGE, *FIT, *EXPECTED),
        ),
        no_channel(
            "voltage",
            "The recording has no voltage, so there are results for charge and current only. Columns that were not "
            "used: {unused_columns}. To choose one, name it as the column of the voltage.",
            (*POWER, *VOLTAGE, *FIT, "expected_endurance", "power_deviation"),
        ),
        Rule(
            "nothing-drawn",
            "The total charge is not above zero: check the column of the current and its unit.",
            when=lambda given, found: ~(found.charge > 0),
            results=(*EXPECTED, *POWER, *CURRENT, *CHARGE, *FIT),
        ),
        log_cautions.BOTH_SIGNS,
        Rule(
            "too-few-for-resistance",
            f"Resistance requires at least {MIN_SAMPLES} samples of both voltage and current; "
            "{samples_used} can be used.",
            severity="low",
            when=lambda given, found: found.samples_used < MIN_SAMPLES,
            results=FIT,
        ),
        Rule(
            "steady-current",
            "The current is too steady to find the resistance: record a few full-throttle punches.",
            severity="low",
            missing=True,
            when=lambda given, found: np.isnan(found.pack_resistance),
            results=FIT,
        ),
        no_channel("throttle", "The recording has no throttle.", ("mean_throttle", "peak_throttle"), "low"),
    ),
    references=(
        Reference("Trapezoidal rule: derived; tests compare with SciPy and closed forms"),
        Reference(
            "Standard error of a slope with correlated residuals: Newey-West estimator with Bartlett weights over "
            "10 s, checked against its definition and on simulated flights",
            about=FIT,
        ),
        rested_voltage("pack_resistance", "expected_endurance"),
    ),
    cautions=(LITHIUM_FIRE, LAND_EARLY, *log_cautions.QUALITY, *log_cautions.PACK_USE),
    examples=(
        Example(
            "An invented flight of a minute: hover at 8 A, one punch-out of 40 A, on a 4-cell pack",
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
