"""A whole craft with several packs, side by side: mass, thrust, current, hover, endurance."""

from dataclasses import dataclass
from typing import Annotated, Any, Final

import numpy as np

from gramwatt.calculators._shared import drivetrain, fields
from gramwatt.calculators._shared import parts as shared_parts
from gramwatt.calculators._shared.cautions import (
    CHECK_AUTHORITY,
    LAND_EARLY,
    LITHIUM_FIRE,
    OUTSIDE_TEMPERATURE,
    PROPELLERS_OFF,
    rested_voltage,
)
from gramwatt.calculators._shared.flights import AERODYNAMIC, AERODYNAMIC_U, DURATION_OR_LOG, Flight, average_powers
from gramwatt.calculators._shared.packs import Pack, PackAnswer
from gramwatt.model import (
    Array,
    Assumption,
    BarChart,
    Calculator,
    Caution,
    Choice,
    Count,
    Example,
    IndexArray,
    Quantity,
    Reference,
    Rule,
    StandardUncertainty,
    Table,
)
from gramwatt.physics import cells, constants, craft, pack, scaling, statistics, weighing

FLOWN: Final = ("hover-ratio", "average-power", "flights")


@dataclass(frozen=True, slots=True)
class Inputs:
    """The craft without its pack, the packs, how it is flown, and the limit it must keep."""

    packs: Annotated[Pack, Table(Pack, "Packs to compare, the others against the first.", max_length=20)]
    kv: fields.Kv
    diameter: fields.PropellerDiameter
    pitch: fields.Pitch
    parts: Annotated[
        shared_parts.Part,
        Table(shared_parts.Part, "Parts without the pack: name, mass, count.", max_length=500, optional=True),
    ]
    dry_mass: Annotated[
        Array,
        Quantity("g", "Mass without the pack, or of what is not in parts.", at_least=0, at_most=1e5, optional=True),
    ]
    dry_mass_u: Annotated[Array, StandardUncertainty(of="dry_mass")]
    blades: fields.Blades
    motors: fields.Motors
    average_power: Annotated[
        Array,
        Quantity("W", "Average power flown with the first pack.", above=0, at_most=1e5, optional=True),
    ]
    hover_ratio: Annotated[
        Array,
        Quantity("1", "Average power over hover power.", at_least=0.5, at_most=10, default=1.2, default_u=0.15),
    ]
    flights: Annotated[
        Flight,
        Table(
            Flight,
            "Flights of this craft; else average_power, else hover_ratio.",
            max_length=200,
            optional=True,
            any_of=DURATION_OR_LOG,
        ),
    ]
    mass_exponent: Annotated[
        Array,
        Quantity(
            "1",
            "x of average power ~ mass^x; fitted where flights differ in mass.",
            at_least=0,
            at_most=3,
            optional=True,
        ),
    ]
    reserve: fields.Reserve
    throttle_cap: Annotated[Array, Quantity("%", "Throttle cap to compare.", above=0, at_most=100, default=100)]
    match_pack: Annotated[
        Array,
        Count("Place of the pack whose uncapped rotor speed to match.", at_least=1, at_most=20, default=1),
    ]
    state_of_charge: Annotated[
        Array, Quantity("%", "Charge at take-off and for full throttle.", above=0, at_most=100, default=100)
    ]
    pack_temperature: fields.PackTemperature
    activation_energy: fields.ActivationEnergy
    rule: shared_parts.Rule
    limit: shared_parts.Limit
    comparison: shared_parts.Comparison
    resolution: shared_parts.Resolution
    kv_deficit: drivetrain.KvDeficit
    motor_resistance: drivetrain.MotorResistance
    no_load_current: drivetrain.NoLoadCurrent
    controller_rating: drivetrain.ControllerRating
    thrust_coefficient: drivetrain.ThrustCoefficient
    power_coefficient: drivetrain.PowerCoefficient
    figure_of_merit: drivetrain.FigureOfMerit
    air_density: fields.AirDensity
    avionics_power: fields.AvionicsPower
    bench_speed: drivetrain.BenchSpeed
    bench_thrust: drivetrain.BenchThrust
    bench_shaft_power: drivetrain.BenchShaftPower
    bench_voltage: drivetrain.BenchVoltage
    bench_current: drivetrain.BenchCurrent


@dataclass(frozen=True, slots=True)
class Results:
    """The packs side by side, and which of them flies longest."""

    longest_endurance: Annotated[Array, Quantity("min", "With the pack that flies longest.", method="the greatest")]
    longest_pack: Annotated[
        Array, Count("Its place among the packs, from 1.", at_least=1, at_most=20, method="place of the greatest")
    ]
    power_from: Annotated[
        IndexArray,
        Choice(
            FLOWN,
            "What the average power rests on.",
            method="flights where given, else average_power, else hover_ratio",
        ),
    ]
    by_pack: Annotated[PackAnswer, Table(PackAnswer, "The craft with each pack.", max_length=20)]


def build(given: Inputs) -> Results:
    """A craft with each of several packs: mass and margin, hover, full throttle, endurance, and what each changes.

    It joins the models of mass-margin, full-throttle and endurance and has their limits: figures at rest, one
    resistance for the pack, average power for the flight. Differences between packs are surer than the figures.
    """
    packs = given.packs
    drive = craft.Drive(*(_column(values) for values in drivetrain.drive_of(given).values))

    dry = np.where(np.isnan(given.dry_mass), 0.0, given.dry_mass)
    mass = _column(dry + (given.parts.mass * given.parts.count).sum(axis=1)) + packs.mass
    standard = np.sqrt(_column(_variance(given)) + packs.mass_u**2)
    limit, inclusive = weighing.limit_in_force(given.rule, given.limit, given.comparison)
    judged = weighing.judge(mass, standard, _column(limit), _column(inclusive))

    assumed = cells.usual_resistance(packs.capacity)
    cell_resistance = np.where(np.isnan(packs.cell_resistance), assumed, packs.cell_resistance)
    resistance = pack.resistance(
        packs.cells,
        cell_resistance,
        packs.lead_resistance,
        _column(given.pack_temperature),
        _column(given.activation_energy),
    )
    state_of_charge = _column(given.state_of_charge)
    source = {
        "open_circuit_voltage": packs.cells * cells.open_circuit_voltage(packs.chemistry, state_of_charge),
        "pack_resistance": resistance,
        "avionics_power": _column(given.avionics_power),
    }
    duties = np.stack([np.ones_like(state_of_charge), _column(given.throttle_cap)])
    full, capped = (craft.Operation(*at) for at in zip(*craft.operate(drive, duties, **source), strict=True))

    row = np.arange(len(mass))
    matched = full.rotor_speed[row, np.minimum(given.match_pack, mass.shape[1]).astype(np.intp) - 1]
    speeds = np.empty((2, *mass.shape))
    speeds[0], speeds[1] = craft.hover_speed(drive, mass), _column(matched)
    demand = craft.demand_at_speed(drive, speeds, **source)
    duty, cap = demand.duty
    hovers = duty <= 1
    hover_power = np.where(hovers, demand.power[0], np.nan)

    by_mass = _column(given.average_power) * (mass / mass[:, :1]) ** _column(given.mass_exponent)
    by_ratio = hover_power * _column(given.hover_ratio)
    average = np.where(np.isnan(_column(given.average_power)), by_ratio, by_mass)
    power_from = np.where(np.isnan(given.average_power), 0, 1)
    if given.flights.mass.shape[1]:
        air = scaling.air_factor(given.flights.air_density)
        law = scaling.fit_power_law(given.flights.mass, average_powers(given.flights) / air, given.mass_exponent)
        average = (law.power(mass.T) * scaling.air_factor(given.air_density)).T
        power_from = np.full_like(power_from, FLOWN.index("flights"))
    flown = pack.constant_power_discharge(
        cells.OPEN_CIRCUIT_VOLTAGE[packs.chemistry],
        power=average / packs.cells,
        resistance=resistance / packs.cells,
        charge=packs.capacity,
        start=state_of_charge,
        reserve=_column(given.reserve),
        cutoff=cells.CUTOFF_VOLTAGE[packs.chemistry],
    )
    duration = flown.duration
    c_rate = capped.pack_current / packs.capacity
    longest = np.where(np.isnan(duration), -1.0, duration)
    place = longest.argmax(axis=1)
    return Results(
        longest_endurance=duration[row, place],
        longest_pack=np.where(longest[row, place] >= 0, place + 1.0, np.nan),
        power_from=power_from,
        by_pack=PackAnswer(
            name=packs.name,
            mass=mass,
            margin=judged.margin,
            verdict=judged.verdict,
            probability_under=judged.probability,
            nominal_energy=packs.cells * cells.NOMINAL_VOLTAGE[packs.chemistry] * packs.capacity,
            hover_power=hover_power,
            hover_throttle=np.where(hovers, duty, np.nan),
            average_power=average,
            endurance=duration,
            ended_by=flown.ended_by,
            thrust=full.thrust,
            thrust_to_weight=full.thrust / (mass * constants.STANDARD_GRAVITY),
            current=full.pack_current,
            capped_thrust=capped.thrust,
            capped_current=capped.pack_current,
            capped_cell_voltage=capped.pack_voltage / packs.cells,
            suggested_cap=np.where(np.isnan(speeds[1]), np.nan, np.fmin(cap, 1.0)),
            c_rate=c_rate,
            rating_used=c_rate / packs.discharge_rating,
            controller_used=capped.motor_current / _column(given.controller_rating),
            mass_change=mass - mass[:, :1],
            mass_change_share=_share(mass),
            endurance_change=duration - duration[:, :1],
            endurance_change_share=_share(duration),
            thrust_change_share=_share(capped.thrust),
            current_change_share=_share(capped.pack_current),
        ),
    )


def _column(values: Any) -> Any:
    """One value a craft (N,) as a column (N, 1), beside values (N, M) of its packs."""
    return values[:, None]


def _share(values: Array) -> Array:
    """Change (N, M) against the first pack, as a share of that."""
    return values / values[:, :1] - 1


def _variance(given: Inputs) -> Array:
    """Variance (N,) [kg2] of a mass with a pack, all but the +/- given with the pack's."""
    weighed = np.isfinite(given.dry_mass)
    readings = (given.parts.count**2).sum(axis=1) + weighed + 1  # of the parts, the rest, the pack
    stated = shared_parts.stated_variance(given.parts.count, given.parts.mass_u) + np.where(
        weighed, given.dry_mass_u**2, 0.0
    )
    return np.asarray(readings * statistics.reading_uncertainty(given.resolution) ** 2 + stated)


def _usual_exponent(given: Inputs) -> Array:
    usual = np.full(given.kv.shape, AERODYNAMIC)
    return np.where(scaling.distinct(given.flights.mass), np.nan, usual) if given.flights.mass.shape[1] else usual


def _columns(*names: str) -> tuple[str, ...]:
    return tuple(f"by_pack.{name}" for name in names)


HOVERING: Final = _columns("hover_power", "hover_throttle")
FLIGHT: Final = _columns("average_power", "endurance")
CHANGES: Final = _columns("endurance_change", "endurance_change_share")
AT_FULL: Final = _columns("thrust", "thrust_to_weight", "current", "suggested_cap")
AT_CAP: Final = _columns(
    *("capped_thrust", "capped_current", "capped_cell_voltage", "c_rate", "rating_used", "controller_used"),
    *("thrust_change_share", "current_change_share"),
)

CALCULATOR = Calculator(
    title="What does each pack make of the craft?",
    summary="A whole craft with several packs side by side: mass and margin, hover, full throttle, endurance.",
    inputs=Inputs,
    results=Results,
    formula=build,
    category="choose",
    chart=BarChart(("endurance", "margin", "thrust_to_weight", "capped_current"), table="by_pack"),
    any_of=(("parts", "dry_mass"),),
    assumptions=(
        Assumption(
            "mass_exponent",
            "1.5, the aerodynamic law, where no flights of different mass tell it",
            _usual_exponent,
            uncertainty=lambda given: np.full(given.kv.shape, AERODYNAMIC_U),
        ),
        *shared_parts.LIMITS,
        *drivetrain.ASSUMPTIONS,
    ),
    rules=(
        Rule(
            "does-not-turn",
            "{packs.name}: at full throttle the motors do not turn: the pack cannot drive the no-load current through "
            "motor_resistance.",
            when=lambda given, found: np.isnan(found.by_pack.thrust),
            results=(*AT_FULL, *AT_CAP, *HOVERING),
        ),
        Rule(
            "does-not-turn-capped",
            "{packs.name}: at that throttle cap the motors do not turn, here or with the first pack.",
            when=lambda given, found: np.isnan(found.by_pack.thrust_change_share),
            results=AT_CAP,
        ),
        Rule(
            "none-flies",
            "With none of the packs is there an endurance; by_pack says why.",
            when=lambda given, found: np.isnan(found.longest_endurance),
            results=("longest_endurance", "longest_pack"),
        ),
        Rule(
            "cannot-lift",
            "{packs.name}: full throttle gives {by_pack.thrust}, which does not lift {by_pack.mass}.",
            when=lambda given, found: np.isnan(found.by_pack.hover_throttle),
            results=HOVERING,
        ),
        Rule(
            "nothing-to-fly-on",
            "{packs.name}: without a hover there is no average power; give average_power.",
            when=lambda given, found: np.isnan(found.by_pack.average_power),
            results=FLIGHT,
        ),
        Rule(
            "power-beyond-pack",
            "{packs.name}: the pack cannot give the average power of {by_pack.average_power}.",
            when=lambda given, found: np.isnan(found.by_pack.endurance),
            results=FLIGHT,
        ),
        Rule(
            "no-comparison",
            "{packs.name}: without an endurance of this pack and of the first there is no difference to tell.",
            when=lambda given, found: ~np.isfinite(found.by_pack.endurance_change_share),
            results=CHANGES,
        ),
        Rule(
            "no-rating",
            "{packs.name}: its discharge_rating was not given.",
            when=lambda given, found: np.isnan(given.packs.discharge_rating),
            results=("by_pack.rating_used",),
        ),
    ),
    references=(
        *shared_parts.laws("by_pack"),
        drivetrain.MODEL,
        drivetrain.COEFFICIENTS,
        drivetrain.BENCH,
        rested_voltage("by_pack", "longest_endurance"),
        Reference("Average power as a multiple of hover power: a judgement, common practice, no source"),
    ),
    cautions=(
        CHECK_AUTHORITY,
        PROPELLERS_OFF,
        LITHIUM_FIRE,
        LAND_EARLY,
        shared_parts.ALL_ON_BOARD,
        shared_parts.RULE_SETS_LIMIT,
        drivetrain.STATIC,
        drivetrain.CATALOGUE_DATA,
        drivetrain.OUTSIDE_REGRESSION,
        drivetrain.BENCH_IMPOSSIBLE,
        Caution(
            "pack-resistance-assumed",
            "{packs.name}: cell_resistance is a judgement for a good new cell; small packs measured with leads run "
            "three to six times as high. It is the largest lever on full-throttle current and "
            "not counted in uncertainty: measure it.",
            when=lambda given, found: np.isnan(given.packs.cell_resistance),
        ),
        Caution(
            "too-close",
            "{packs.name}: the margin of {by_pack.margin} is too close to call: weigh the finished craft in one go.",
            when=lambda given, found: found.by_pack.verdict == weighing.TOO_CLOSE,
        ),
        Caution(
            "over-rating",
            "{packs.name}: the throttle cap takes {by_pack.rating_used} of its continuous rating.",
            when=lambda given, found: found.by_pack.rating_used > 1,
        ),
        Caution(
            "over-controller",
            "{packs.name}: a motor draws {by_pack.controller_used} of its controller's continuous rating.",
            when=lambda given, found: found.by_pack.controller_used > 1,
        ),
        Caution(
            "below-cutoff",
            "{packs.name}: at the throttle cap its cells sag to {by_pack.capped_cell_voltage}, below their cut-off.",
            when=lambda given, found: found.by_pack.capped_cell_voltage < cells.CUTOFF_VOLTAGE[given.packs.chemistry],
        ),
        Caution(
            "cap-below-hover",
            "{packs.name}: the throttle cap is below the {by_pack.hover_throttle} that hovers.",
            when=lambda given, found: found.by_pack.hover_throttle > given.throttle_cap[:, None],
        ),
        OUTSIDE_TEMPERATURE,
        Caution(
            "lihv-extrapolated",
            "{packs.name}: the rested voltage of lihv cells is carried on from a lipo cell's, not measured.",
            when=lambda given, found: given.packs.chemistry == cells.LIHV,
        ),
        Caution(
            "no-such-pack",
            "match_pack names no pack of the list; the last one was matched.",
            when=lambda given, found: given.match_pack > given.packs.cells.shape[1],
        ),
    ),
    examples=(
        Example(
            "An invented five-inch craft with a 4-cell pack, and a 6-cell pack of the same capacity",
            given={
                "parts": [
                    {"name": "frame", "mass": 98},
                    {"name": "motor", "mass": 31.5, "count": 4},
                    {"name": "propeller", "mass": 4.2, "count": 4},
                    {"name": "electronics", "mass": 52},
                    {"name": "camera and transmitter", "mass": 61},
                ],
                "packs": [
                    {"name": "4 cells", "cells": 4, "capacity": 1300, "mass": 155, "discharge_rating": 100},
                    {"name": "6 cells", "cells": 6, "capacity": 1300, "mass": 228, "discharge_rating": 100},
                ],
                "kv": 2400,
                "diameter": 5,
                "pitch": 4.3,
                "throttle_cap": 66,
                "controller_rating": 45,
                "rule": "custom",
                "limit": 600,
                "resolution": 0.1,
            },
            expected={"longest_pack": 2, "power_from": "hover-ratio"},
            rtol=1e-9,
            source="common practice, no source: the same capacity on more cells flies longer at moderate extra mass",
        ),
        Example(
            "The same craft weighed without its pack, with the average power of its flights and one bench run",
            given={
                "dry_mass": 353.8,
                "average_power": 260,
                "mass_exponent": 1.2,
                "kv": 2400,
                "diameter": 5,
                "pitch": 4.3,
                "bench_speed": 20000,
                "bench_thrust": 520,
                "bench_shaft_power": 90,
                "bench_voltage": 14.8,
                "bench_current": 19,
                "match_pack": 2,
                "pack_temperature": 10,
                "limit": 508.8,
                "resolution": 0,
                "packs": [
                    {"name": "small", "cells": 4, "capacity": 1300, "mass": 155, "cell_resistance": 12},
                    {"name": "large", "cells": 4, "capacity": 1800, "mass": 205, "cell_resistance": 9},
                ],
            },
            expected={"longest_pack": 2, "power_from": "average-power"},
            rtol=1e-9,
            source="by hand: 1.8/1.3 = 1.385 of the energy at (558.8/508.8)^1.2 = 1.119 of the power lasts longer",
        ),
        Example(
            "The same craft, with two of its flights, and the pack they were flown with",
            given={
                "dry_mass": 353.8,
                "kv": 2400,
                "diameter": 5,
                "pitch": 4.3,
                "limit": "0.55 lb",
                "flights": [
                    {"mass": 508.8, "duration": 5.2, "cells": 4, "capacity": 1300, "charge_used": 1070},
                    {"mass": 558.8, "duration": 4.7, "cells": 4, "capacity": 1300, "charge_used": 1070},
                ],
                "packs": [{"name": "flown", "cells": 4, "capacity": 1300, "mass": 155, "cell_resistance": 12}],
            },
            expected={"power_from": "flights", "longest_pack": 1, "longest_endurance": 5.2},
            rtol=0.05,
            source="by hand: the flight itself, 5.2 min for 1070 of the 1040 mAh above the reserve, by label volts",
        ),
    ),
)
