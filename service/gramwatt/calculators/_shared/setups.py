"""Setups of a craft to compare: which pack and propeller, at which throttle cap, with which mass."""

from dataclasses import dataclass
from typing import Annotated, Any, Final, NamedTuple, TypeAlias

import numpy as np

from gramwatt.calculators._shared import cautions, parts, propellers
from gramwatt.calculators._shared.packs import Pack, column
from gramwatt.calculators._shared.propellers import pick
from gramwatt.model import (
    Array,
    BoolArray,
    Choice,
    Group,
    IndexArray,
    Quantity,
    RowName,
    StandardUncertainty,
    StringArray,
    Table,
    Text,
    get_fields,
)
from gramwatt.physics import cells, craft
from gramwatt.physics.statistics import reading_uncertainty

MAX_SETUPS: Final = 20
MATCHES: Final = ("rotor-speed", "thrust", "thrust-to-weight")
SAME_DUTY: Final = 1e-9
"""Excess of a duty over full throttle below which it is rounding."""
SAME_DURATION: Final = 1e-9
"""Relative difference of two flight times below which it is rounding."""


@dataclass(frozen=True, slots=True)
class Setup:
    """One setup: what is not given is as in the craft, or the first of its table."""

    name: Annotated[
        StringArray, Text("Name of the setup; default: that of its pack.", label="Name", optional=True, max_length=80)
    ]
    pack: Annotated[IndexArray, RowName("packs", "Name of its pack; default: the first.", label="Pack")]
    propeller: Annotated[
        IndexArray, RowName("propellers", "Name of its propeller; default: the first.", label="Propeller")
    ]
    throttle_cap: Annotated[
        Array,
        Quantity(
            "%",
            "Maximum throttle allowed; default: the throttle cap of the craft.",
            label="Throttle cap",
            above=0,
            at_most=100,
            optional=True,
            synonyms=("throttle_limit", "max_throttle"),
        ),
    ]
    match_quantity: Annotated[
        IndexArray,
        Choice(
            MATCHES,
            "Instead of a throttle cap: the cap at which it has the rotor speed, the thrust or the thrust to weight of "
            "another setup at its own cap.",
            label="Match",
            optional=True,
            synonyms=("match",),
        ),
    ]
    match_setup: Annotated[
        IndexArray, RowName("setups", "Name of the setup to match; default: the first.", label="Setup to match")
    ]
    added_mass: Annotated[
        Array,
        Quantity(
            "g",
            "Mass added to the craft in this setup; negative where something is taken off.",
            label="Added mass",
            at_least=-1e5,
            at_most=1e5,
            default=0,
        ),
    ]
    added_mass_u: Annotated[Array, StandardUncertainty(of="added_mass")]
    pack_temperature: Annotated[
        Array,
        Quantity(
            "degC",
            "Temperature of the cells; default: the pack temperature of the craft.",
            label="Pack temperature",
            at_least=-30,
            at_most=90,
            optional=True,
            synonyms=("battery_temperature", "cell_temperature"),
        ),
    ]


Setups: TypeAlias = Annotated[
    Setup,
    Table(
        Setup,
        "Setups to compare with the first; default: one for each pack.",
        label="Setups",
        group=Group.FLIGHT,
        max_length=MAX_SETUPS,
        optional=True,
        row_label="setup",
    ),
]


StateOfCharge: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Charge in the pack at take-off and at full throttle. Full by default.",
        label="State of charge",
        group=Group.PACK,
        above=0,
        at_most=100,
        default=100,
        synonyms=("soc",),
    ),
]


class Chosen(NamedTuple):
    """What the setups of N requests are made of; arrays (N, M), or (N, 1) where all setups have the same."""

    names: StringArray
    pack: Pack
    """Columns by setup, but for the names."""
    propeller: IndexArray
    """Row in the table of propellers."""
    drive: craft.Drive
    stated_cap: Array
    """Throttle cap, that of the craft where the setup has none of its own."""
    is_matching: BoolArray
    """Whether its cap is to match another setup instead."""
    added_mass: Array
    """Mass added to the craft [kg]."""
    added_variance: Array
    """Its variance [kg²]; negative where what is taken off was uncertain."""
    temperature: Array
    avionics_power: Array
    controller_rating: Array


def has_setups(given: Any) -> bool:
    """Return whether setups are given; else each pack is one, with the first propeller."""
    return bool(given.setups.pack.shape[1])


def pick_pack(given: Any, name: str) -> Any:
    """Return a column of the packs by setup (N, M)."""
    values = getattr(given.packs, name)
    return pick(values, np.maximum(given.setups.pack, 0)) if has_setups(given) else values


def find_matching(given: Any) -> BoolArray:
    """Return where (N, M) the throttle cap of a setup is to match another setup."""
    if not has_setups(given):
        return np.zeros(given.packs.cells.shape, dtype=np.bool_)
    return np.asarray((given.setups.match_quantity >= 0) | (given.setups.match_setup >= 0))


def matches_itself(given: Any) -> BoolArray:
    """Return where (N, M) a setup is to match itself."""
    is_matching = find_matching(given)
    return is_matching & (_get_target(given) == np.arange(is_matching.shape[1])) if has_setups(given) else is_matching


def matches_a_match(given: Any) -> BoolArray:
    """Return where (N, M) a setup matches one without a cap of its own."""
    is_matching = find_matching(given)
    return is_matching & pick(is_matching, _get_target(given)) if has_setups(given) else is_matching


def get_temperature(given: Any) -> Array:
    """Return the temperature [K] of the packs of the setups, (N, M)."""
    own, single = given.setups.pack_temperature, column(given.pack_temperature)
    own = own if has_setups(given) else np.full(given.packs.cells.shape, np.nan)
    return np.where(np.isnan(own), single, own)


def _get_target(given: Any) -> IndexArray:
    return np.asarray(np.maximum(given.setups.match_setup, 0))


def _name_setups(given: Any) -> StringArray:
    """Return the names (N, M): rows are draws of one request, so the first has those of all."""
    own, at = given.setups.name[:1], np.maximum(given.setups.pack[:1], 0)
    names = np.where(own == "", pick(given.packs.name[:1], at), own)[0].tolist()
    numbered = [
        name if stated or names.count(name) == 1 else f"{name} {number}"
        for number, (name, stated) in enumerate(zip(names, own[0].tolist(), strict=True), 1)
    ]
    return np.broadcast_to(np.array([numbered]), given.setups.name.shape)


def choose(given: Any) -> Chosen:
    """Return what each setup is made of; without setups one for each pack, with the first propeller."""
    setups = given.setups
    pack = Pack(**{name: pick_pack(given, name) for name in get_fields(Pack) if name != "name"}, name=given.packs.name)
    stated_cap = np.broadcast_to(column(given.throttle_cap), pack.cells.shape)
    if not has_setups(given):
        rows, nothing = np.zeros(pack.cells.shape, dtype=np.intp), np.zeros((len(pack.cells), 1))
        names, added_mass, added_variance = given.packs.name, nothing, nothing
    else:
        rows, added_mass, added_variance = np.maximum(setups.propeller, 0), setups.added_mass, setups.added_mass_u**2
        names = _name_setups(given)
        stated_cap = np.where(np.isnan(setups.throttle_cap), stated_cap, setups.throttle_cap)
    return Chosen(
        names=names,
        pack=pack,
        propeller=rows,
        drive=propellers.drive_of(given, rows),
        stated_cap=stated_cap,
        is_matching=find_matching(given),
        added_mass=added_mass,
        added_variance=added_variance,
        temperature=get_temperature(given),
        avionics_power=column(given.avionics_power),
        controller_rating=column(given.controller_rating),
    )


def get_source(given: Any, chosen: Chosen) -> dict[str, Array]:
    """Return the packs of the setups as `craft.operate` takes them."""
    voltage = cells.open_circuit_voltage(chosen.pack.chemistry, column(given.state_of_charge))
    return {
        "open_circuit_voltage": chosen.pack.cells * voltage,
        "pack_resistance": cautions.pack_resistance(chosen.pack, chosen.temperature, column(given.activation_energy)),
        "avionics_power": chosen.avionics_power,
    }


def weigh(given: Any, chosen: Chosen) -> tuple[Array, Array]:
    """Return the all-up mass (N, M) [kg] and its standard uncertainty; nan where nothing is left to weigh."""
    dry_mass = np.where(np.isnan(given.dry_mass), 0.0, given.dry_mass)
    craft_mass = dry_mass + (given.parts.mass * given.parts.count).sum(axis=1)
    of_propellers, of_propellers_u, readings = propellers.get_mass(given, chosen.propeller)
    mass = column(craft_mass) + chosen.pack.mass + of_propellers + chosen.added_mass
    by_display = readings * reading_uncertainty(column(given.scale_resolution))
    stated = chosen.pack.mass_u**2 + of_propellers_u**2 + chosen.added_variance
    variance = column(parts.variance_with_pack(given)) + by_display**2 + stated
    return np.where(mass > 0, mass, np.nan), np.sqrt(variance)


def find_longest(names: StringArray, duration: Array, is_overloaded: BoolArray) -> tuple[Array, StringArray]:
    """Return the longest duration (N,) [s] of setups (N, M), and its name; nan and "" without any.

    Of setups that fly equally long, as one pack does with and without a throttle cap, one without overload is named.
    """
    row, known = np.arange(len(duration)), np.where(np.isnan(duration), -1.0, duration)
    equal = known >= known.max(axis=1, keepdims=True) * (1 - SAME_DURATION)
    longest = np.where(equal, 2.0 - is_overloaded, 0.0).argmax(axis=1)
    is_known = known[row, longest] >= 0
    return (
        np.where(is_known, duration[row, longest], np.nan),
        np.where(is_known, names[row, longest], ""),
    )


def compare_drives(given: Any, chosen: Chosen, mass: Array, power: Array, source: dict[str, Array]) -> Array:
    """Return the ratio (N, M) of hover power to that with the first propeller and the craft's own motors.

    (N, 1) where no setup has others.
    """
    first = propellers.drive_of(given, np.zeros_like(chosen.propeller))
    if all(np.array_equal(*pair, equal_nan=True) for pair in zip(first.values, chosen.drive.values, strict=True)):
        return np.ones((len(mass), 1))
    return power / craft.demand_at_speed(first, craft.hover_speed(first, mass), **source).power


class Throttle(NamedTuple):
    """Setups at full throttle and at their caps."""

    cap: Array
    """Duty (N, M); nan where no cap matches the other setup."""
    full: craft.Operation
    capped: craft.Operation


def find_throttle(given: Any, chosen: Chosen, mass: Array, source: dict[str, Array]) -> Throttle:
    """Return the operating points of the setups (N, M) at full throttle and at their caps.

    A cap that matches another setup follows from the rotor speed that gives the same rotor speed, thrust or thrust to
    weight: `craft.demand_at_speed`, the inverse of `craft.operate`.
    """
    full = craft.operate(chosen.drive, np.ones(mass.shape), **source)
    has_cap = (chosen.stated_cap < 1).any()
    capped = craft.operate(chosen.drive, chosen.stated_cap, **source) if has_cap else full
    is_matching = chosen.is_matching
    if not is_matching.any():
        return Throttle(chosen.stated_cap, full, capped)
    target = _get_target(given)
    thrust = pick(capped.thrust, target)
    thrust = np.where(
        given.setups.match_quantity == MATCHES.index("thrust"), thrust, thrust / pick(mass, target) * mass
    )
    speed = np.where(
        given.setups.match_quantity <= MATCHES.index("rotor-speed"),  # or -1, where only the other setup is named
        pick(capped.rotor_speed, target),
        craft.speed_at_thrust(chosen.drive, thrust),
    )
    duty = craft.demand_at_speed(chosen.drive, speed, **source).duty
    is_possible = (duty <= 1 + SAME_DUTY) & ~pick(is_matching, target)
    cap = np.where(is_matching, np.where(is_possible, np.minimum(duty, 1.0), np.nan), chosen.stated_cap)
    matched = craft.operate(chosen.drive, cap, **source)
    capped = craft.Operation(*(np.where(is_matching, *pair) for pair in zip(matched, capped, strict=True)))
    return Throttle(cap, full, capped)


def has_own_cap(given: Any) -> BoolArray:
    """Return where (N, M) a setup gives a throttle cap."""
    own = given.setups.throttle_cap
    return ~np.isnan(own) if has_setups(given) else np.zeros(given.packs.cells.shape, dtype=np.bool_)
