"""Recorded flights side by side: compare packs by their results in the air."""

from dataclasses import dataclass
from typing import Annotated, Final

import numpy as np

from gramwatt.calculators._shared import (
    comparison_steps,
    fields,
    flight_fields,
    flight_results,
    flight_summary,
    logs,
    pack_fields,
)
from gramwatt.calculators._shared.cautions import LAND_EARLY, LITHIUM_FIRE, rested_voltage
from gramwatt.calculators._shared.flights import CHOSEN_BY, any_flight
from gramwatt.calculators._shared.packs import column
from gramwatt.model import (
    Array,
    BarChart,
    Calculator,
    Caution,
    Count,
    Example,
    Group,
    Quantity,
    Reference,
    Rule,
    Sentence,
    StringArray,
    Table,
    Text,
)


@dataclass(frozen=True, slots=True)
class RecordedFlight:
    """One flight: its recording and its pack."""

    name: flight_fields.Name
    log: logs.Log
    cells: pack_fields.OptionalCells
    capacity: pack_fields.OptionalCapacity
    chemistry: pack_fields.Chemistry
    start_state_of_charge: pack_fields.StartStateOfCharge
    reserve: pack_fields.Reserve
    mass: fields.OptionalMass
    charge_put_back: flight_fields.ChargePutBack
    start_time: logs.StartTime
    end_time: logs.EndTime


@dataclass(frozen=True, slots=True)
class Inputs:
    """The flights, and corrections of the craft's sensors."""

    flights: Annotated[
        RecordedFlight,
        Table(
            RecordedFlight,
            "Flights to compare with the first.",
            group=Group.FLIGHT,
            max_length=50,
            chosen_by=CHOSEN_BY,
            row_label="flight",
        ),
    ]
    current_scale: logs.CurrentScale
    current_offset: logs.CurrentOffset
    voltage_scale: logs.VoltageScale
    longest_gap: logs.LongestGap
    resistance_error: logs.ResistanceError


@dataclass(frozen=True, slots=True)
class FlightResults:
    """One flight beside the others."""

    name: flight_results.Name
    duration: flight_results.Duration
    energy_used: flight_results.EnergyUsed
    charge_used: flight_results.ChargeUsed
    mean_power: flight_results.MeanPower
    p95_power: flight_results.P95Power
    peak_power: flight_results.PeakPower
    peak_current: flight_results.PeakCurrent
    lowest_cell_voltage: flight_results.LowestCellVoltage
    cell_voltage_sag: flight_results.CellVoltageSag
    pack_resistance_per_cell: flight_results.PackResistancePerCell
    charge_used_share: flight_results.ChargeUsedShare
    landing_time: flight_results.LandingTime
    power_per_mass: flight_results.PowerPerMass
    mean_power_change_share: flight_results.MeanPowerChangeShare
    peak_current_change_share: flight_results.PeakCurrentChangeShare
    cell_voltage_sag_change_share: flight_results.CellVoltageSagChangeShare
    landing_time_change_share: flight_results.LandingTimeChangeShare
    samples_used: fields.SamplesUsed
    samples_left_out: flight_results.SamplesLeftOut


@dataclass(frozen=True, slots=True)
class Results:
    """The flights side by side, and the one that would last longest."""

    longest_landing_time: Annotated[
        Array,
        Quantity(
            "min",
            "Longest time to the reserve of all flights.",
            label="Longest time to reserve",
            formula="max(by_flight.landing_time)",
        ),
    ]
    longest_flight: Annotated[
        StringArray,
        Text("Name of that flight.", label="Longest-lasting flight", method="flight of the longest time"),
    ]
    longest_flight_row: Annotated[
        Array,
        Count(
            "Row of that flight, from 1.",
            label="Row of longest flight",
            at_least=1,
            at_most=50,
            method="flight of the longest time",
        ),
    ]
    by_flight: Annotated[
        FlightResults, Table(FlightResults, "The flights in the given order.", label="Flights compared", max_length=50)
    ]


def flight_comparison(given: Inputs) -> Results:
    """Compute the results of flight-log for each recording, and the change from the first.

    A change tells packs apart only if craft, air and flying are the same.
    """
    flights = given.flights
    shape = flights.cells.shape

    def per_flight(values: Array) -> Array:
        return np.repeat(values, shape[1])

    log = flight_summary.summarize_recordings(
        flights.log.ravel(),
        flight_summary.FlightPack(
            flights.cells.ravel(),
            flights.capacity.ravel(),
            flights.chemistry.ravel(),
            flights.start_state_of_charge.ravel(),
            flights.reserve.ravel(),
        ),
        flight_summary.SensorCorrections(
            per_flight(given.current_scale),
            per_flight(given.current_offset),
            per_flight(given.voltage_scale),
            flights.charge_put_back.ravel(),
            per_flight(given.resistance_error),
        ),
        longest_gap=per_flight(given.longest_gap),
        begin=flights.start_time.ravel(),
        end=flights.end_time.ravel(),
    )
    flight = flight_summary.FlightSummary(*(values.reshape(shape) for values in log.summary))
    samples, samples_used = log.samples.reshape(shape), log.samples_used.reshape(shape)
    cell_voltage_sag = np.fmax.reduce(log.punch_outs.voltage_sag, axis=1, initial=np.nan).reshape(shape) / flights.cells
    landing_time = flight.reserve_at

    def change(values: Array) -> Array:
        return values / values[:, :1] - 1

    best = np.where(np.isnan(landing_time), -np.inf, landing_time).argmax(axis=1)
    row = np.arange(len(best))
    longest = landing_time[row, best]
    return Results(
        longest_landing_time=longest,
        longest_flight_row=np.where(np.isnan(longest), np.nan, best + 1.0),
        longest_flight=np.where(np.isnan(longest), "", flights.name[row, best]),
        by_flight=FlightResults(
            name=flights.name,
            duration=flight.duration,
            energy_used=flight.energy,
            charge_used=flight.charge,
            mean_power=flight.mean_power,
            p95_power=flight.p95_power,
            peak_power=flight.peak_power,
            peak_current=flight.peak_current,
            lowest_cell_voltage=flight.lowest_cell_voltage,
            cell_voltage_sag=cell_voltage_sag,
            pack_resistance_per_cell=flight.pack_resistance / flights.cells,
            charge_used_share=flight.used,
            landing_time=landing_time,
            power_per_mass=flight.mean_power / flights.mass,
            mean_power_change_share=change(flight.mean_power),
            peak_current_change_share=change(flight.peak_current),
            cell_voltage_sag_change_share=change(cell_voltage_sag),
            landing_time_change_share=change(landing_time),
            samples_used=samples_used,
            samples_left_out=samples - samples_used,
        ),
    )


FROM_CURRENT: Final = (
    "by_flight.energy_used",
    "by_flight.charge_used",
    "by_flight.mean_power",
    "by_flight.p95_power",
    "by_flight.peak_power",
    *("by_flight.peak_current", "by_flight.mean_power_change_share", "by_flight.peak_current_change_share"),
)


CALCULATOR = Calculator(
    title="Which pack did better in the air?",
    summary="Recorded flights side by side: power, peak current, sag per cell and time to the reserve.",
    inputs=Inputs,
    results=Results,
    formula=flight_comparison,
    steps=comparison_steps.find_steps,
    category="after",
    sentences=(
        Sentence(
            'Flight "{longest_flight}" would last longest: {longest_landing_time:range}',
            when=lambda given, found: (given.flights.name == column(found.longest_flight)).sum(axis=1) == 1,
        ),
        Sentence("Flight {longest_flight_row} would last longest: {longest_landing_time:range}"),
    ),
    charts=(
        BarChart(
            ("landing_time", "mean_power", "peak_current", "cell_voltage_sag"),
            table="by_flight",
            title="Flights side by side",
        ),
    ),
    rules=(
        Rule(
            "recording-incomplete",
            "The recording of {by_flight.name}, or that of the first flight, has fewer than two samples with both "
            "current and voltage. flight-log shows what is missing.",
            when=lambda given, found: np.isnan(found.by_flight.mean_power_change_share),
            results=(*FROM_CURRENT, "by_flight.duration"),
        ),
        Rule(
            "no-capacity",
            "No time to the reserve can be computed: give the capacity, and recordings with a current.",
            missing=True,
            when=lambda given, found: np.isnan(found.longest_landing_time),
            results=("longest_landing_time", "longest_flight", "longest_flight_row"),
        ),
    ),
    references=(
        Reference(
            "Integrals, percentiles and resistance as in flight-log; a change is the ratio to the first flight less 1"
        ),
        rested_voltage("by_flight"),
    ),
    cautions=(
        LITHIUM_FIRE,
        LAND_EARLY,
        Caution(
            "same-flying-assumed",
            "The figures tell packs apart only if craft, air and flying were the same.",
            severity="low",
        ),
        Caution(
            "same-sensor-assumed",
            "All flights are assumed to be recorded by one sensor with one error, on which relative changes do not "
            "depend. A flight with a charge put back is calibrated by itself.",
            severity="low",
            when=lambda given, found: any_flight(np.isfinite(given.flights.charge_put_back)),
        ),
        Caution(
            "start-charges-differ",
            "The charge at take-off differs between flights, so voltages, sag and times cannot be compared directly.",
            when=lambda given, found: any_flight(
                given.flights.start_state_of_charge != given.flights.start_state_of_charge[:, :1]
            ),
        ),
        Caution(
            "samples-left-out",
            "Samples of some recordings were left out: see samples left out, and flight-log for the reasons.",
            severity="low",
            when=lambda given, found: any_flight(found.by_flight.samples_left_out > 0),
        ),
    ),
    examples=(
        Example(
            "Two invented flights of a minute with the same hover and one punch-out, on a fresh and on a tired pack",
            given={
                "flights": [
                    {
                        "name": "fresh",
                        "cells": 4,
                        "capacity": 850,
                        "mass": 249,
                        "log": {
                            "time": [0, 20, 20.5, 22.5, 23, 60],
                            "voltage": [16.6, 16.4, 15.8, 15.8, 16.3, 16.2],
                            "current": [8, 8, 40, 40, 8, 8],
                        },
                    },
                    {
                        "name": "tired",
                        "cells": 4,
                        "capacity": 850,
                        "mass": 249,
                        "log": {
                            "time": [0, 20, 20.5, 22.5, 23, 60],
                            "voltage": [16.5, 16.2, 14.2, 14.2, 16.0, 15.9],
                            "current": [8, 8, 36, 36, 8, 8],
                        },
                    },
                ],
                "longest_gap": 60,
            },
            expected={"longest_landing_time": 4.450909, "longest_flight": "tired", "longest_flight_row": 2},
            rtol=1e-6,
            source="by hand: 0.8 x 850 mAh = 2448 A s; the fresh pack gave 8 x 57 + 24 + 80 = 560 A s in a minute, so "
            "4.371 min; the tired one, with 36 A in the punch-out, 550 A s, so 4.451 min",
        ),
        Example(
            "Two invented flights of a minute at a steady current, with two propellers",
            given={
                "flights": [
                    {
                        "name": "three blades",
                        "cells": 3,
                        "capacity": 600,
                        "log": {"time": [0, 30, 60], "voltage": [12.4, 12.2, 12.0], "current": [6, 6, 6]},
                    },
                    {
                        "name": "two blades",
                        "cells": 3,
                        "capacity": 600,
                        "log": {"time": [0, 30, 60], "voltage": [12.4, 12.25, 12.1], "current": [5, 5, 5]},
                    },
                ],
                "longest_gap": 60,
            },
            expected={"longest_landing_time": 5.76, "longest_flight": "two blades", "longest_flight_row": 2},
            rtol=1e-12,
            source="by hand: 0.8 x 600 mAh = 1728 A s; at 6 A 288 s, at 5 A 345.6 s = 5.76 min",
        ),
    ),
)
