"""Recorded flights side by side: pack A against pack B by what they gave in the air."""

from dataclasses import dataclass
from typing import Annotated, Final

import numpy as np

from gramwatt.calculators._shared import fields, flight_summary, logs
from gramwatt.calculators._shared.cautions import LAND_EARLY, LITHIUM_FIRE, rested_voltage
from gramwatt.calculators._shared.flights import some
from gramwatt.model import (
    Array,
    BarChart,
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
)


@dataclass(frozen=True, slots=True)
class FlownFlight:
    """One flight: its recording, and the pack it was flown with."""

    name: Annotated[StringArray, Text("What to call it.", default="flight")]
    log: logs.Log
    cells: logs.FlownCells
    capacity: logs.FlownCapacity
    chemistry: fields.Chemistry
    start_charge: fields.StartCharge
    reserve: fields.Reserve
    mass: Annotated[Array, Quantity("g", "All-up mass.", above=0, at_most=1e5, optional=True)]
    charge_put_back: Annotated[
        Array,
        Quantity("mAh", "What the charger put back, to calibrate the sensor.", above=0, at_most=1e6, optional=True),
    ]
    begin: logs.Begin
    end: logs.End


@dataclass(frozen=True, slots=True)
class Inputs:
    """The flights, and what the craft's sensors need."""

    flights: Annotated[FlownFlight, Table(FlownFlight, "Flights to compare with the first.", max_length=50)]
    current_scale: logs.CurrentScale
    current_offset: logs.CurrentOffset
    voltage_scale: logs.VoltageScale
    longest_gap: logs.LongestGap


AS_LOG: Final = "as in flight-log"
AGAINST: Final = "against the first flight"


@dataclass(frozen=True, slots=True)
class FlightAnswer:
    """One flight beside the others."""

    name: Annotated[StringArray, Text("The flight.")]
    duration: Annotated[Array, Quantity("min", "Time recorded, gaps left out.", method=AS_LOG)]
    energy: Annotated[Array, Quantity("Wh", "Energy drawn.", method=AS_LOG)]
    charge: Annotated[Array, Quantity("mAh", "Charge drawn.", method=AS_LOG)]
    mean_power: Annotated[Array, Quantity("W", "Average power.", method=AS_LOG)]
    power_p95: Annotated[Array, Quantity("W", "Power exceeded 5 % of the time.", method=AS_LOG)]
    peak_power: Annotated[Array, Quantity("W", "Greatest power.", method=AS_LOG)]
    peak_current: Annotated[Array, Quantity("A", "Greatest current.", method=AS_LOG)]
    lowest_cell_voltage: Annotated[Array, Quantity("V", "Lowest loaded cell voltage.", method=AS_LOG, optional=True)]
    punch_sag: Annotated[
        Array,
        Quantity("V", "Deepest fall in a punch-out, a cell.", method="greatest sag over cells", optional=True),
    ]
    cell_resistance: Annotated[
        Array,
        Quantity(
            "mohm",
            "Of one series position, leads shared out.",
            method="pack_resistance as in flight-log, over cells",
            optional=True,
        ),
    ]
    used: Annotated[Array, Quantity("%", "Of the capacity.", method=AS_LOG, optional=True)]
    landing_time: Annotated[Array, Quantity("min", "Time to the reserve.", method=AS_LOG, optional=True)]
    power_per_mass: Annotated[
        Array, Quantity("W/kg", "Average power for each kilogram.", method="mean_power / mass", optional=True)
    ]
    mean_power_change: Annotated[Array, Quantity("%", "Average power more.", method=AGAINST)]
    peak_current_change: Annotated[Array, Quantity("%", "Greatest current more.", method=AGAINST)]
    punch_sag_change: Annotated[Array, Quantity("%", "Sag in a punch more.", method=AGAINST, optional=True)]
    landing_time_change: Annotated[Array, Quantity("%", "Time to the reserve more.", method=AGAINST, optional=True)]
    samples_used: Annotated[Array, Count("Samples used.", at_least=0, at_most=5_000_000, method="counted")]
    samples_left_out: Annotated[
        Array, Count("Samples left out; flight-log says why.", at_least=0, at_most=5_000_000, method="counted")
    ]


@dataclass(frozen=True, slots=True)
class Results:
    """The flights side by side, and which of them would fly longest."""

    longest_landing_time: Annotated[
        Array, Quantity("min", "Of the flight whose pack lasts longest to its reserve.", method="the greatest")
    ]
    longest_flight: Annotated[
        Array, Count("Its place among the flights, from 1.", at_least=1, at_most=50, method="place of the greatest")
    ]
    by_flight: Annotated[FlightAnswer, Table(FlightAnswer, "The flights in the order they were given.", max_length=50)]


def flight_comparison(given: Inputs) -> Results:
    """What flight-log says of each recording, and the change against the first.

    Alike flying is the user's part: a change tells packs apart only where craft, air and flying were alike.
    """
    flights = given.flights
    shape = flights.cells.shape
    many = shape[1]

    def wide(values: Array) -> Array:
        return np.repeat(values, many)

    told = flight_summary.of_recordings(
        flights.log.ravel(),
        flight_summary.Pack(
            flights.cells.ravel(),
            flights.capacity.ravel(),
            flights.chemistry.ravel(),
            flights.start_charge.ravel(),
            flights.reserve.ravel(),
        ),
        flight_summary.Sensors(
            wide(given.current_scale),
            wide(given.current_offset),
            wide(given.voltage_scale),
            flights.charge_put_back.ravel(),
        ),
        longest_gap=wide(given.longest_gap),
        begin=flights.begin.ravel(),
        end=flights.end.ravel(),
    )
    found = told.summary
    sag = np.fmax.reduce(told.punch_outs.sag, axis=1, initial=np.nan) / flights.cells.ravel()

    def change(values: Array) -> Array:
        table = values.reshape(shape)
        return table / table[:, :1] - 1

    lasts = np.where(np.isnan(found.reserve_at), -np.inf, found.reserve_at).reshape(shape)
    best = lasts.argmax(axis=1)
    longest = found.reserve_at.reshape(shape)[np.arange(len(best)), best]
    return Results(
        longest_landing_time=longest,
        longest_flight=np.where(np.isnan(longest), np.nan, best + 1.0),
        by_flight=FlightAnswer(
            name=flights.name,
            duration=found.duration.reshape(shape),
            energy=found.energy.reshape(shape),
            charge=found.charge.reshape(shape),
            mean_power=found.mean_power.reshape(shape),
            power_p95=found.power_p95.reshape(shape),
            peak_power=found.peak_power.reshape(shape),
            peak_current=found.peak_current.reshape(shape),
            lowest_cell_voltage=found.lowest_cell_voltage.reshape(shape),
            punch_sag=sag.reshape(shape),
            cell_resistance=found.pack_resistance.reshape(shape) / flights.cells,
            used=found.used.reshape(shape),
            landing_time=found.reserve_at.reshape(shape),
            power_per_mass=found.mean_power.reshape(shape) / flights.mass,
            mean_power_change=change(found.mean_power),
            peak_current_change=change(found.peak_current),
            punch_sag_change=change(sag),
            landing_time_change=change(found.reserve_at),
            samples_used=told.samples_used.reshape(shape),
            samples_left_out=(told.samples - told.samples_used).reshape(shape),
        ),
    )


FROM_CURRENT: Final = tuple(
    f"by_flight.{name}"
    for name in (
        "energy",
        "charge",
        "mean_power",
        "power_p95",
        "peak_power",
        "peak_current",
        "mean_power_change",
        "peak_current_change",
    )
)


CALCULATOR = Calculator(
    title="Which pack did better in the air?",
    summary="Recorded flights side by side: power, peak amps, sag a cell, time to the reserve, against the first.",
    inputs=Inputs,
    results=Results,
    formula=flight_comparison,
    category="after",
    chart=BarChart(("landing_time", "mean_power", "peak_current", "punch_sag"), table="by_flight"),
    rules=(
        Rule(
            "recording-lacks",
            "The recording of {by_flight.name} has not both current and voltage in two samples, or that of the first "
            "flight has not; flight-log says what it lacks.",
            when=lambda given, found: np.isnan(found.by_flight.mean_power_change),
            results=(*FROM_CURRENT, "by_flight.duration"),
        ),
        Rule(
            "no-capacity",
            "No flight tells its time to the reserve: give capacity, and recordings with a current.",
            when=lambda given, found: np.isnan(found.longest_landing_time),
            results=("longest_landing_time", "longest_flight"),
        ),
    ),
    references=(
        Reference(
            "Integrals, percentiles and resistance as in flight-log; changes are ratios to the first flight less one"
        ),
        rested_voltage("by_flight"),
    ),
    cautions=(
        LITHIUM_FIRE,
        LAND_EARLY,
        Caution("flown-alike", "The figures tell packs apart only if craft, air and flying were alike."),
        Caution(
            "one-sensor",
            "All flights are taken to be recorded by one sensor, off by the same share; changes in per cent do not "
            "depend on it. Where charge_put_back is given, that flight is calibrated by itself.",
            when=lambda given, found: some(np.isfinite(given.flights.charge_put_back)),
        ),
        Caution(
            "unlike-start",
            "The flights began with different start_charge: volts, sag and times are not alike.",
            when=lambda given, found: some(given.flights.start_charge != given.flights.start_charge[:, :1]),
        ),
        Caution(
            "left-out",
            "Of some recordings samples were left out: see samples_left_out, and flight-log for the reasons.",
            when=lambda given, found: some(found.by_flight.samples_left_out > 0),
        ),
    ),
    examples=(
        Example(
            "Two invented flights of a minute with the same hover and one punch, on a fresh and on a tired pack",
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
            expected={"longest_landing_time": 4.450909, "longest_flight": 2},
            rtol=1e-6,
            source="by hand: 0.8 x 850 mAh = 2448 A s; the fresh pack gave 8 x 57 + 24 + 80 = 560 A s in a minute, so "
            "4.371 min; the tired one, with 36 A in the punch, 550 A s, so 4.451 min",
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
            expected={"longest_landing_time": 5.76, "longest_flight": 2},
            rtol=1e-12,
            source="by hand: 0.8 x 600 mAh = 1728 A s; at 6 A 288 s, at 5 A 345.6 s = 5.76 min",
        ),
    ),
)
