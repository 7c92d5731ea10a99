"""One pack of a build: its inputs, the results of the craft with it, and the rules and cautions about it."""

from dataclasses import dataclass
from typing import Annotated, Any, Final

import numpy as np

from gramwatt.calculators._shared import cautions, drivetrain, fields, parts, resistances
from gramwatt.model import (
    Array,
    Assumption,
    Caution,
    Choice,
    ChosenBy,
    IndexArray,
    Quantity,
    Rule,
    StandardUncertainty,
    StringArray,
    Text,
)
from gramwatt.physics import cells, pack, weighing

CHOSEN_BY: Final = ChosenBy("pack", stands_for=(("mass", "pack_mass"),))


@dataclass(frozen=True, slots=True)
class Pack:
    """One pack to compare."""

    name: Annotated[StringArray, Text("Name of the pack.", default="pack")]
    cells: fields.Cells
    capacity: fields.Capacity
    mass: Annotated[
        Array,
        Quantity("g", "Mass of the pack with leads and connector.", above=0, at_most=1e5, display=parts.DISPLAY),
    ]
    mass_u: Annotated[Array, StandardUncertainty(of="mass")]
    chemistry: fields.Chemistry
    cell_resistance: fields.CellResistance
    lead_resistance: fields.LeadResistance
    pack_resistance: fields.MeasuredRowResistance
    discharge_rating: fields.DischargeRating


FULL_THROTTLE = "as in full-throttle"
MARGIN = "as in mass-margin"
AVERAGE = (
    "the law through the flights, as in power-fit; else the given average power times (mass / first pack's mass)^x "
    "with the mass exponent x; else hover power times the hover ratio"
)
SUGGESTED_CAP = (
    "throttle at which this pack turns the propellers as the matched pack does at full throttle; at most 100 %"
)
DIFFERENCE = "difference from the first pack"


@dataclass(frozen=True, slots=True)
class PackResults:
    """The craft with one pack."""

    name: Annotated[StringArray, Text("Name of the pack.")]
    mass: Annotated[Array, Quantity("g", "All-up mass.", label="All-up mass", method="parts, dry mass and pack")]
    margin: Annotated[
        Array,
        Quantity(
            "g", "Margin below the limit.", label="Margin below the limit", signed=True, at_most=1e6, method=MARGIN
        ),
    ]
    verdict: Annotated[IndexArray, Choice(weighing.VERDICTS, "Under the limit?", method=MARGIN)]
    probability_under: Annotated[
        Array,
        Quantity(
            "%",
            "Probability to meet the limit.",
            label="Probability under limit",
            at_most=100,
            exact=True,
            method=MARGIN,
        ),
    ]
    nominal_energy: Annotated[
        Array, Quantity("Wh", "Label energy.", label="Label energy", method="nominal voltage times capacity")
    ]
    hover_power: Annotated[Array, Quantity("W", "Electrical power in hover.", method=FULL_THROTTLE)]
    hover_throttle: Annotated[Array, Quantity("%", "Throttle in hover.", at_most=100, method=FULL_THROTTLE)]
    average_power: Annotated[Array, Quantity("W", "Average power in flight.", method=AVERAGE)]
    endurance: Annotated[
        Array, Quantity("min", "Flight time.", label="Flight time", method="as in endurance, at the average power")
    ]
    ended_by: Annotated[
        IndexArray, Choice(pack.ENDED_BY, "What ends the flight.", label="Flight ends by", method="as in endurance")
    ]
    thrust: Annotated[Array, Quantity("gf", "Thrust at full throttle, without a cap.", method=FULL_THROTTLE)]
    thrust_to_weight: Annotated[
        Array,
        Quantity(
            "1", "Thrust over weight at full throttle, without a cap.", label="Thrust-to-weight", method=FULL_THROTTLE
        ),
    ]
    current: Annotated[
        Array,
        Quantity(
            "A", "Current from the pack at full throttle, without a cap.", label="Pack current", method=FULL_THROTTLE
        ),
    ]
    capped_thrust: Annotated[Array, Quantity("gf", "Thrust at the throttle cap.", method=FULL_THROTTLE)]
    capped_current: Annotated[
        Array,
        Quantity("A", "Current from the pack at the throttle cap.", label="Capped pack current", method=FULL_THROTTLE),
    ]
    capped_cell_voltage: Annotated[
        Array, Quantity("V", "Loaded cell voltage at the throttle cap.", method=FULL_THROTTLE)
    ]
    suggested_cap: Annotated[
        Array,
        Quantity(
            "%",
            "Throttle cap that matches the chosen pack.",
            label="Matching throttle cap",
            at_most=100,
            method=SUGGESTED_CAP,
        ),
    ]
    c_rate: Annotated[
        Array, Quantity("C", "C-rate at the throttle cap.", label="C-rate", method="capped current over capacity")
    ]
    rating_used: Annotated[
        Array,
        Quantity("%", "Share of the pack's rating.", label="C rating used", method="C-rate over discharge rating"),
    ]
    controller_used: Annotated[
        Array,
        Quantity(
            "%",
            "Share of a controller's rating, at the throttle cap.",
            label="Controller rating used",
            method="motor current over controller rating",
            needs=("controller_rating",),
        ),
    ]
    mass_change: Annotated[
        Array, Quantity("g", "Change of the all-up mass.", at_least=-1e5, at_most=1e5, method=DIFFERENCE)
    ]
    mass_change_share: Annotated[
        Array,
        Quantity(
            "%",
            "Change of the all-up mass, as a share.",
            label="Mass change, relative",
            at_least=-100,
            method=DIFFERENCE,
        ),
    ]
    endurance_change: Annotated[
        Array, Quantity("min", "Change of the flight time.", label="Flight time change", signed=True, method=DIFFERENCE)
    ]
    endurance_change_share: Annotated[
        Array,
        Quantity(
            "%",
            "Change of the flight time, as a share.",
            label="Flight time change, relative",
            at_least=-100,
            method=DIFFERENCE,
        ),
    ]
    thrust_change_share: Annotated[
        Array,
        Quantity(
            "%",
            "Change of the capped thrust, as a share.",
            label="Thrust change, relative",
            at_least=-100,
            method=DIFFERENCE,
        ),
    ]
    current_change_share: Annotated[
        Array,
        Quantity(
            "%",
            "Change of the capped current, as a share.",
            label="Current change, relative",
            at_least=-100,
            method=DIFFERENCE,
        ),
    ]


def column(values: Any) -> Any:
    """Return one value per craft (N,) as a column (N, 1), to combine with values (N, M) of its packs."""
    return values[:, None]


def relative_change(values: Array) -> Array:
    """Return the change (N, M) from the first pack as a share of its value."""
    return values / values[:, :1] - 1


def _results(*names: str) -> tuple[str, ...]:
    return tuple(f"by_pack.{name}" for name in names)


HOVER: Final = _results("hover_power", "hover_throttle")
FLIGHT: Final = _results("average_power", "endurance")
UNCAPPED: Final = _results("thrust", "thrust_to_weight", "current", "suggested_cap")
CAPPED: Final = _results(
    *("capped_thrust", "capped_current", "capped_cell_voltage", "c_rate", "rating_used", "controller_used"),
    *("thrust_change_share", "current_change_share"),
)
RULES: Final[tuple[Rule[Any, Any], ...]] = (
    Rule(
        "bench-point-impossible",
        drivetrain.BENCH_IMPOSSIBLE,
        when=lambda given, found: column(drivetrain.is_bench_impossible(given)) & np.isnan(found.by_pack.thrust),
        results=(*UNCAPPED, *CAPPED, *HOVER),
        partly=drivetrain.BENCH_PARTLY_IMPOSSIBLE,
    ),
    Rule(
        "does-not-turn",
        "{packs.name}: at full throttle the motors do not turn, because the pack cannot drive their no-load current "
        "through the motor resistance.",
        when=lambda given, found: np.isnan(found.by_pack.thrust),
        results=(*UNCAPPED, *CAPPED, *HOVER),
        partly="the motors do not turn with {packs.name}",
    ),
    Rule(
        "does-not-turn-capped",
        "{packs.name}: at that throttle cap the motors do not turn, with this pack or with the first.",
        when=lambda given, found: np.isnan(found.by_pack.thrust_change_share),
        results=CAPPED,
        partly="the motors do not turn at that cap with {packs.name}, or with the first pack",
    ),
    Rule(
        "none-flies",
        "No pack gives a flight time; see the reasons for each pack.",
        when=lambda given, found: np.isnan(found.longest_endurance),
        results=("longest_endurance", "longest_pack"),
        partly="no pack gives a flight time",
    ),
    Rule(
        "cannot-lift",
        "{packs.name}: full throttle gives {by_pack.thrust}, which does not lift {by_pack.mass}.",
        when=lambda given, found: np.isnan(found.by_pack.hover_throttle),
        results=HOVER,
        partly="full throttle does not lift the craft with {packs.name}",
    ),
    Rule(
        "nothing-to-fly-on",
        "{packs.name}: there is no average power without a hover. Give the average power.",
        missing=True,
        when=lambda given, found: np.isnan(found.by_pack.average_power),
        results=FLIGHT,
    ),
    Rule(
        "power-beyond-pack",
        "{packs.name}: the pack cannot deliver the average power of {by_pack.average_power}.",
        when=lambda given, found: np.isnan(found.by_pack.endurance),
        results=FLIGHT,
        partly="{packs.name} cannot deliver the average power",
    ),
    Rule(
        "no-comparison",
        "{packs.name}: a comparison requires the flight times of this pack and of the first.",
        severity="low",
        when=lambda given, found: ~np.isfinite(found.by_pack.endurance_change_share),
        results=_results("endurance_change", "endurance_change_share"),
        partly="{packs.name}, or the first pack, has no flight time to compare",
    ),
    Rule(
        "no-rating",
        "{packs.name}: its discharge rating was not given.",
        severity="low",
        missing=True,
        when=lambda given, found: np.isnan(given.packs.discharge_rating),
        results=_results("rating_used"),
    ),
)


def _list_packs(given: Any) -> tuple[resistances.Packs, resistances.Packs]:
    return resistances.packs_of(given.flights), resistances.packs_of(given.packs)


RESISTANCES: Final[tuple[Assumption[Any], ...]] = (
    Assumption(
        "packs.cell_resistance",
        resistances.FOLLOWING,
        lambda given: resistances.assume_cell_resistance(*_list_packs(given)[::-1]),
        factor=lambda given: resistances.get_factor(*_list_packs(given)[::-1]),
    ),
    Assumption(
        "flights.cell_resistance",
        "in proportion to the resistance of the packs that are compared, by capacity",
        lambda given: resistances.assume_cell_resistance(*_list_packs(given)),
    ),
)
RESISTANCE_ASSUMED: Final[Caution[Any, Any]] = Caution(
    "pack-resistance-assumed",
    "{packs.name}: cell resistance, with the pack's own leads, is an estimate from the capacity that is known to a "
    f"factor of {cells.RESISTANCE_FACTOR:g} only. Measure it, or give the pack resistance that flight-log finds.",
    assumed="packs.cell_resistance",
)
LIMITS_EXCEEDED: Final[tuple[Caution[Any, Any], ...]] = (
    Caution(
        "too-close",
        "{packs.name}: the margin of {by_pack.margin} is too close to call: weigh the finished craft as a whole.",
        severity="high",
        when=lambda given, found: found.by_pack.verdict == weighing.TOO_CLOSE,
    ),
    Caution(
        "over-rating",
        "{packs.name}: at the throttle cap the load is {by_pack.rating_used} of its continuous rating.",
        severity="high",
        when=lambda given, found: found.by_pack.rating_used > 1,
    ),
    Caution(
        "over-controller",
        "{packs.name}: a motor draws {by_pack.controller_used} of its controller's continuous rating.",
        severity="high",
        when=lambda given, found: found.by_pack.controller_used > 1,
    ),
    Caution(
        "below-cutoff",
        "{packs.name}: at the throttle cap its cells sag to {by_pack.capped_cell_voltage}, below their cut-off: "
        "wear if that lasts, not if it is a dip of a second.",
        when=lambda given, found: found.by_pack.capped_cell_voltage < cells.CUTOFF_VOLTAGE[given.packs.chemistry],
    ),
    Caution(
        "cap-below-hover",
        "{packs.name}: the throttle cap is below the hover throttle of {by_pack.hover_throttle}.",
        severity="high",
        when=lambda given, found: found.by_pack.hover_throttle > column(given.throttle_cap),
    ),
)
RATING_OVERSTATED: Final[Caution[Any, Any]] = Caution(
    cautions.RATING_OVERSTATED.code,
    cautions.RATING_OVERSTATED.text,
    when=lambda given, found: (~np.isnan(given.packs.discharge_rating)).any(axis=1),
)
LIHV_EXTRAPOLATED: Final[Caution[Any, Any]] = Caution(
    "lihv-extrapolated",
    "{packs.name}: the rested voltage of LiHV cells is extrapolated from that of a LiPo cell, not measured.",
    severity="low",
    when=lambda given, found: given.packs.chemistry == cells.LIHV,
)
NO_SUCH_PACK: Final[Caution[Any, Any]] = Caution(
    "no-such-pack",
    "The number of the pack to match is higher than the number of packs; the last pack was matched.",
    when=lambda given, found: given.match_pack > given.packs.cells.shape[1],
)
