"""Energy, charge, peaks, sag and pack resistance from a recorded flight, and when to land next time."""

from dataclasses import dataclass
from typing import Annotated, Final

import numpy as np

from gramwatt.calculators._shared import (
    fields,
    flight_summary,
    log_cautions,
    log_results,
    log_steps,
    logs,
    pack_fields,
    sentences,
)
from gramwatt.calculators._shared.cautions import LAND_EARLY, LITHIUM_FIRE, rested_voltage
from gramwatt.calculators._shared.log_cautions import no_channel
from gramwatt.model import (
    Array,
    BarChart,
    Calculator,
    Example,
    Group,
    Reference,
    Rule,
    TimeSeriesChart,
)
from gramwatt.physics.loaded_pack import MIN_SAMPLES


@dataclass(frozen=True, slots=True)
class Inputs:
    """The recording, its pack, corrections of the sensors, and predictions to compare with."""

    log: logs.Log
    cells: pack_fields.OptionalCells
    capacity: pack_fields.OptionalCapacity
    chemistry: pack_fields.Chemistry
    start_state_of_charge: pack_fields.StartStateOfCharge
    reserve: pack_fields.Reserve
    current_scale: logs.CurrentScale
    current_offset: logs.CurrentOffset
    voltage_scale: logs.VoltageScale
    charge_put_back: logs.ChargePutBack
    start_time: logs.StartTime
    end_time: logs.EndTime
    longest_gap: logs.LongestGap
    predicted_mean_power: Annotated[
        Array,
        pack_fields.optional_quantity(
            "W",
            "Predicted average power.",
            label="Predicted average power",
            group=Group.FLIGHT,
            at_most=1e5,
            synonyms=("predicted_power",),
            follows=("mean_power",),
        ),
    ]
    predicted_endurance: Annotated[
        Array,
        pack_fields.optional_quantity(
            "min",
            "Predicted time to the reserve.",
            label="Predicted flight time",
            group=Group.FLIGHT,
            at_most=1e4,
            follows=("endurance",),
        ),
    ]
    predicted_peak_current: Annotated[
        Array,
        pack_fields.optional_quantity(
            "A",
            "Predicted maximum current.",
            group=Group.FLIGHT,
            at_most=1e4,
            synonyms=("predicted_current",),
            follows=("pack_current",),
        ),
    ]
    resistance_error: logs.ResistanceError


@dataclass(frozen=True, slots=True)
class Results:
    """Use of the pack in this flight, its condition, and the samples that were left out."""

    energy_used: log_results.EnergyUsed
    charge_used: log_results.ChargeUsed
    duration: log_results.Duration
    mean_power: log_results.MeanPower
    peak_power: log_results.PeakPower
    peak_current: log_results.PeakCurrent
    lowest_cell_voltage: log_results.LowestCellVoltage
    pack_resistance: log_results.PackResistance
    charge_used_share: log_results.ChargeUsedShare
    end_state_of_charge: log_results.EndStateOfCharge
    landing_time: log_results.LandingTime
    expected_endurance: log_results.ExpectedEndurance
    mean_current: log_results.MeanCurrent
    mean_voltage: log_results.MeanVoltage
    median_power: log_results.MedianPower
    p95_power: log_results.P95Power
    median_current: log_results.MedianCurrent
    p95_current: log_results.P95Current
    lowest_voltage: log_results.LowestVoltage
    lowest_voltage_time: log_results.LowestVoltageTime
    mean_throttle: log_results.MeanThrottle
    peak_throttle: log_results.PeakThrottle
    current_scale_used: log_results.CurrentScaleUsed
    mean_power_deviation_share: log_results.MeanPowerDeviationShare
    endurance_deviation_share: log_results.EnduranceDeviationShare
    peak_current_deviation_share: log_results.PeakCurrentDeviationShare
    samples_recorded: fields.SamplesRecorded
    samples_used: fields.SamplesUsed
    sample_interval: log_results.SampleInterval
    gap_duration: log_results.GapDuration
    unused_columns: log_results.UnusedColumns
    punch_outs: log_results.PunchOuts
    samples_left_out_by_reason: log_results.SamplesLeftOutByReason


def flight_log(given: Inputs) -> Results:
    """Compute integrals, extremes and percentiles of a recorded flight, and the pack's resistance from its sag.

    The results are those of the recorded samples: peaks between them are missed, and a current sensor may be off by a
    few per cent until it is calibrated with the charge that the charger put back. The resistance is valid for loads of
    seconds, and for the temperature of that flight.
    """
    flight_pack = flight_summary.FlightPack(
        given.cells, given.capacity, given.chemistry, given.start_state_of_charge, given.reserve
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
        begin=given.start_time,
        end=given.end_time,
    )
    flight = log.summary
    return Results(
        energy_used=flight.energy,
        charge_used=flight.charge,
        duration=flight.duration,
        mean_power=flight.mean_power,
        peak_power=flight.peak_power,
        peak_current=flight.peak_current,
        lowest_cell_voltage=flight.lowest_cell_voltage,
        pack_resistance=flight.pack_resistance,
        charge_used_share=flight.used,
        end_state_of_charge=flight.remaining,
        landing_time=flight.reserve_at,
        expected_endurance=flight_summary.model_endurance(flight, flight_pack),
        mean_current=flight.mean_current,
        mean_voltage=flight.mean_voltage,
        median_power=flight.median_power,
        p95_power=flight.p95_power,
        median_current=flight.median_current,
        p95_current=flight.p95_current,
        lowest_voltage=flight.lowest_voltage,
        lowest_voltage_time=flight.lowest_voltage_time,
        mean_throttle=flight.mean_throttle,
        peak_throttle=flight.peak_throttle,
        current_scale_used=flight.current_scale,
        mean_power_deviation_share=flight.mean_power / given.predicted_mean_power - 1,
        endurance_deviation_share=flight.reserve_at / given.predicted_endurance - 1,
        peak_current_deviation_share=flight.peak_current / given.predicted_peak_current - 1,
        samples_recorded=log.samples,
        samples_used=log.samples_used,
        sample_interval=log.sample_interval,
        gap_duration=log.gap_duration,
        unused_columns=log.unused_columns,
        punch_outs=log.punch_outs,
        samples_left_out_by_reason=log.left_out,
    )


CURRENT: Final = ("charge_used", "mean_current", "peak_current", "median_current", "p95_current", "current_scale_used")
POWER: Final = ("energy_used", "mean_power", "peak_power", "median_power", "p95_power", "mean_voltage")
CHARGE: Final = ("charge_used_share", "end_state_of_charge", "landing_time")
VOLTAGE: Final = ("lowest_voltage", "lowest_cell_voltage", "lowest_voltage_time")
FIT: Final = ("pack_resistance",)
EXPECTED: Final = (
    "expected_endurance",
    "mean_power_deviation_share",
    "endurance_deviation_share",
    "peak_current_deviation_share",
)


CALCULATOR = Calculator(
    title="What did this flight use?",
    summary="Energy, charge, peaks, sag and the pack's resistance from a recorded flight, and when to land.",
    inputs=Inputs,
    results=Results,
    formula=flight_log,
    steps=log_steps.find_steps,
    category="after",
    sentences=sentences.FLIGHT_LOG,
    charts=(
        TimeSeriesChart(
            lambda given, found: flight_summary.corrected_channels(
                given.log,
                longest_gap=given.longest_gap,
                begin=given.start_time,
                end=given.end_time,
                corrections=flight_summary.SensorCorrections(
                    found.current_scale_used, given.current_offset, given.voltage_scale, np.full(1, np.nan), np.zeros(1)
                ),
            ),
            recording="log",
            spans=("punch_outs", "punch_start_time", "punch_duration"),
            spans_are="punch-outs",
            title="The flight over time",
        ),
        BarChart(
            ("voltage_sag", "peak_current"), table="punch_outs", label="punch_start_time", title="Sag of each punch-out"
        ),
        BarChart(
            ("mean_power_deviation_share", "endurance_deviation_share", "peak_current_deviation_share"),
            title="Flown over predicted",
        ),
    ),
    rules=(
        Rule(
            "too-few-samples",
            "Only {samples_used} of {samples_recorded} samples can be used; at least two in order of time are "
            "required. See the samples left out for the reasons.",
            when=lambda given, found: found.samples_used < 2,
            results=("duration", *POWER, *CURRENT, *CHARGE, *FIT, *VOLTAGE, *EXPECTED, "sample_interval"),
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
            (*POWER, *VOLTAGE, *FIT, "expected_endurance", "mean_power_deviation_share"),
        ),
        Rule(
            "no-charge-used",
            "The total charge is not above zero: check the column of the current and its unit.",
            when=lambda given, found: ~(found.charge_used > 0),
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
                "predicted_mean_power": 140,
                "predicted_endurance": 4,
                "predicted_peak_current": 45,
                "longest_gap": 60,
            },
            expected={
                "charge_used": 155.556,
                "duration": 1,
                "peak_current": 40,
                "peak_power": 632,
                "charge_used_share": 18.3007,
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
            expected={
                "energy_used": 1.22,
                "charge_used": 100,
                "peak_power": 74.4,
                "charge_used_share": 16.66667,
                "lowest_cell_voltage": 4.0,
            },
            rtol=5e-6,
            source="by hand: 6 A x 60 s = 100 mAh of 600; 6 A x 12.2 V on average = 73.2 W for a minute = 1.22 Wh",
        ),
    ),
)
