"""Options for the parts of a craft: slots to fill with one option each, and the craft in any set of options."""

import dataclasses
from dataclasses import dataclass
from typing import Annotated, Any, Final, NamedTuple, TypeAlias

import numpy as np

from gramwatt.calculators._shared import drivetrain, fields, packs, parts, propellers, setups
from gramwatt.calculators._shared.pack_fields import optional_quantity
from gramwatt.calculators._shared.packs import Pack, column
from gramwatt.calculators._shared.propellers import Propeller
from gramwatt.model import (
    Array,
    Assumption,
    BoolArray,
    Count,
    Group,
    IndexArray,
    Quantity,
    StandardUncertainty,
    StringArray,
    Table,
    Text,
    get_fields,
)
from gramwatt.physics import motor_constants
from gramwatt.physics.statistics import reading_uncertainty

MAX_OPTIONS: Final = 500
PRICE: Final = Quantity(
    "1",
    "Price of one piece, in any currency; 0 for what you have.",
    label="Price",
    at_least=0,
    at_most=1e9,
    default=0,
    synonyms=("cost",),
)
CHANGES: Final = (
    "kv",
    "motor_resistance",
    "no_load_current",
    "controller_rating",
    "avionics_power",
    "throttle_cap",
)
"""Columns of an option that replace a single input of the craft."""


@dataclass(frozen=True, slots=True)
class PricedPack(Pack):
    """One pack to choose."""

    price: Annotated[Array, PRICE]


@dataclass(frozen=True, slots=True)
class PricedPropeller(Propeller):
    """One kind of propeller to choose."""

    price: Annotated[Array, PRICE]


@dataclass(frozen=True, slots=True)
class PartOption:
    """One option for a part."""

    slot: Annotated[
        StringArray,
        Text(
            "Name of the part that it would replace; or another name: then its first option is the present one.",
            label="In place of",
            max_length=80,
        ),
    ]
    name: Annotated[StringArray, Text("Name of the option, or none.", label="Option", max_length=80)]
    mass: Annotated[Array, parts.MASS]
    mass_u: Annotated[Array, StandardUncertainty(of="mass")]
    count: Annotated[
        Array,
        Count(
            "Number of such pieces; default: that of the part that it replaces.",
            label="Count",
            at_least=1,
            at_most=1000,
            optional=True,
        ),
    ]
    price: Annotated[Array, PRICE]
    kv: fields.OptionalKv
    stator_diameter: drivetrain.StatorDiameter
    stator_height: drivetrain.StatorHeight
    motor_resistance: drivetrain.MotorResistance
    no_load_current: drivetrain.NoLoadCurrent
    controller_rating: drivetrain.ControllerRating
    avionics_power: Annotated[
        Array,
        Quantity(
            "W",
            "Power of everything but the motors with this option.",
            label="Avionics power",
            at_least=0,
            at_most=1e4,
            optional=True,
        ),
    ]
    throttle_cap: Annotated[
        Array, optional_quantity("%", "Maximum throttle allowed with this option.", label="Throttle cap", at_most=100)
    ]


Packs: TypeAlias = Annotated[
    PricedPack,
    Table(
        PricedPack,
        "Packs to choose from, the present one first.",
        label="Packs",
        group=Group.PACK,
        max_length=20,
        chosen_by=packs.CHOSEN_BY,
        row_label="pack",
    ),
]
Propellers: TypeAlias = Annotated[
    PricedPropeller,
    Table(
        PricedPropeller,
        "Propellers to choose from, the present ones first, instead of a single diameter, pitch and number of blades. "
        "A bench point and the measured flights belong to the first.",
        label="Propellers",
        group=Group.MOTOR,
        max_length=propellers.MAX_PROPELLERS,
        optional=True,
        replaces=("diameter", "pitch", "blades", "thrust_coefficient", "power_coefficient"),
        chosen_by=propellers.CHOSEN_BY,
        synonyms=("props",),
        row_label="propeller",
    ),
]
PartOptions: TypeAlias = Annotated[
    PartOption,
    Table(
        PartOption,
        "What could take the place of a part.",
        label="Options for parts",
        group=Group.WEIGHT,
        max_length=MAX_OPTIONS,
        optional=True,
        synonyms=("options", "alternatives"),
        row_label="option",
    ),
]


class Slot(NamedTuple):
    """A place for one of K options; arrays (N, K) for N requests or draws of one. The first option is the present."""

    name: str
    options: tuple[str, ...]
    mass: Array
    """What the option adds to the craft without any set of options [kg]; 0 for packs and propellers."""
    variance: Array
    """What it adds to the variance of the mass [kg²]."""
    price: Array
    changes: dict[str, Array]
    """Inputs of the craft that options replace, nan where they do not."""
    table: str = ""
    """The table of the craft whose rows are the options, if there is one."""

    @property
    def is_light(self) -> bool:
        """Whether its options change the mass alone."""
        return not self.table and not self.changes


def list_slots(given: Any) -> list[Slot]:
    """Return the slots of N draws of one request: packs, propellers, then parts as they come in their options."""
    found = []
    for name, pieces in (("packs", 1.0), ("propellers", column(given.motors))):
        table = getattr(given, name)
        if table.name.shape[1]:
            nothing, names = np.zeros(table.price.shape), tuple(table.name[0].tolist())
            found.append(Slot(name.removesuffix("s"), names, nothing, nothing, table.price * pieces, {}, name))
    named: dict[str, list[int]] = {}
    for row, name in enumerate(given.part_options.slot[0].tolist()):
        named.setdefault(fold(name), []).append(row)
    return [*found, *(_make_slot(given, rows) for rows in named.values())]


def fold(name: str) -> str:
    """Return a name as names of slots and parts are compared."""
    return " ".join(name.split()).casefold()


def find_parts(given: Any, slot: str) -> list[int]:
    """Return the rows of the parts that a slot names."""
    return [row for row, name in enumerate(given.parts.name[0].tolist()) if fold(name) == fold(slot)]


def _make_slot(given: Any, rows: list[int]) -> Slot:
    """Return the slot of some rows of options: what they weigh beyond the part that they replace, if there is one."""
    options, slot = given.part_options, str(given.part_options.slot[0, rows[0]])
    replaced = find_parts(given, slot)
    of_display = column(reading_uncertainty(given.scale_resolution) ** 2)
    part_mass, part_count = given.parts.mass[:, replaced], given.parts.count[:, replaced]
    present = (part_mass * part_count).sum(axis=1)[:, None]
    present_variance = (part_count**2 * (of_display + given.parts.mass_u[:, replaced] ** 2)).sum(axis=1)[:, None]
    default_count = part_count.sum(axis=1)[:, None] if replaced else 1.0
    count = np.where(np.isnan(options.count[:, rows]), default_count, options.count[:, rows])
    mass = count * options.mass[:, rows] - present
    variance = count**2 * (of_display + options.mass_u[:, rows] ** 2) - present_variance
    price = count * options.price[:, rows]
    names = [str(name) for name in options.name[0, rows].tolist()]
    changes = {name: getattr(options, name)[:, rows] for name in CHANGES}
    changes = {name: values for name, values in changes.items() if not np.isnan(values).all()}
    if replaced:
        nothing, unchanged = np.zeros(present.shape), np.full(present.shape, np.nan)
        names = [slot, *names]
        mass, variance, price = (np.concatenate([nothing, each], axis=1) for each in (mass, variance, price))
        changes = {name: np.concatenate([unchanged, each], axis=1) for name, each in changes.items()}
    return Slot(slot, tuple(names), mass, variance, price, changes)


def _changes_motor(given: Any) -> BoolArray:
    options = given.part_options
    return np.asarray(~np.isnan(options.kv) | _has_stator(options))


def _has_stator(options: PartOption) -> BoolArray:
    return np.asarray(~np.isnan(options.stator_diameter * options.stator_height))


def _get_kv(given: Any) -> Array:
    options = given.part_options
    return np.asarray(np.where(np.isnan(options.kv), column(given.kv), options.kv))


def _assume_resistance(given: Any) -> Array:
    """Return the resistance (N, K) of motors among the options; nan for options that change no motor."""
    options, kv = given.part_options, _get_kv(given)
    by_stator = motor_constants.stator_resistance(kv, options.stator_diameter, options.stator_height)
    rewound = column(given.motor_resistance) * (column(given.kv) / kv) ** 2
    return np.where(_changes_motor(given), np.where(_has_stator(options), by_stator, rewound), np.nan)


def _assume_no_load_current(given: Any) -> Array:
    """Return the no-load current (N, K) of motors among the options; nan for options that change no motor."""
    options = given.part_options
    own = _get_kv(given) * options.motor_resistance
    present = given.no_load_current * given.kv * given.motor_resistance
    return np.where(_changes_motor(given), column(present) / own, np.nan)


ASSUMPTIONS: Final[tuple[Assumption[Any], ...]] = (
    Assumption(
        "part_options.motor_resistance",
        "of another kV or stator: by its stator, as for the craft's own motor; without a stator that of the craft's "
        "motor with another winding, which goes with 1 / kV²",
        _assume_resistance,
        factor=lambda given: np.where(_has_stator(given.part_options), np.exp(motor_constants.STATOR_SPREAD), 1.0),
        draw="other_motors",
    ),
    Assumption(
        "part_options.no_load_current",
        "of another kV or stator: that of the craft's motor, by 1 / (kV × motor resistance)",
        _assume_no_load_current,
    ),
)
"""To be filled in after those of `drivetrain`."""


def find_conflicts(slots: list[Slot]) -> list[str]:
    """Return the inputs that options of more than one slot change."""
    changed = [name for slot in slots for name in slot.changes]
    return sorted({name for name in changed if changed.count(name) > 1})


def add_columns(slots: list[Slot], sets: IndexArray, name: str) -> Array:
    """Return the sum (N, M) of ``mass``, ``variance`` or ``price`` of the options in sets (M, S)."""
    return np.asarray(sum(getattr(slot, name)[:, sets[:, at]] for at, slot in enumerate(slots)))


def choose(given: Any, slots: list[Slot], sets: IndexArray) -> setups.Chosen:
    """Return the craft in M sets of options (M, S), as `setups.choose` does it for setups."""
    shape = (len(given.kv), len(sets))
    changed = {name: getattr(given, name)[:, None] for name in CHANGES}
    rows: dict[str, IndexArray] = {name: np.zeros(len(sets), dtype=np.intp) for name in ("packs", "propellers")}
    for at, slot in enumerate(slots):
        if slot.table:
            rows[slot.table] = sets[:, at]
        for name, values in slot.changes.items():
            own = values[:, sets[:, at]]
            changed[name] = np.where(np.isnan(own), changed[name], own)
    propeller = np.broadcast_to(rows["propellers"], shape)
    names = np.broadcast_to(given.packs.name[:, :1], shape)  # texts are slow to pick, and no figure needs them
    columns = {name: getattr(given.packs, name)[:, rows["packs"]] for name in get_fields(Pack) if name != "name"}
    pack = Pack(name=names, **columns)
    drive = propellers.drive_of(given, propeller)
    return setups.Chosen(
        names=names,
        pack=pack,
        propeller=propeller,
        drive=dataclasses.replace(
            drive,
            speed_constant=changed["kv"] * (1 - column(given.kv_deficit)),
            motor_resistance=changed["motor_resistance"],
            no_load_current=changed["no_load_current"],
        ),
        stated_cap=np.broadcast_to(changed["throttle_cap"], shape),
        is_matching=np.zeros(shape, dtype=np.bool_),
        added_mass=add_columns(slots, sets, "mass"),
        added_variance=add_columns(slots, sets, "variance"),
        temperature=np.broadcast_to(column(given.pack_temperature), shape),
        avionics_power=changed["avionics_power"],
        controller_rating=changed["controller_rating"],
    )


def _name_option(slot: Slot, at: int) -> str:
    option = slot.options[at]
    return f"no {slot.name}" if fold(option) == "none" else f"{slot.name} {option}" if slot.table else option


def describe(slots: list[Slot], options: IndexArray, *, in_full: bool = False) -> str:
    """Return what a set of options (S,) changes of the present one, in words; ``in_full`` with what it replaces."""
    changed = [
        f"{_name_option(slot, at)} instead of {slot.options[0]}" if in_full else _name_option(slot, at)
        for slot, at in zip(slots, options.tolist(), strict=True)
        if at
    ]
    return ", ".join(changed) if changed else "as it is"
