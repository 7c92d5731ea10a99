"""Results about the balance of a craft."""

from dataclasses import dataclass
from typing import Annotated, Any, Final

from gramwatt.model import Array, Quantity, StringArray, Table, Text


def _signed(unit: str, description: str, label: str, **more: Any) -> Quantity:
    return Quantity(unit, description, label=label, signed=True, **more)


@dataclass(frozen=True, slots=True)
class PartResults:
    """What one part does to the balance."""

    name: Annotated[StringArray, Text("Name of the part.")]
    mass: Annotated[Array, Quantity("g", "Mass of all its pieces.", method="mass of a piece times count")]
    x_shift: Annotated[
        Array,
        _signed(
            "mm",
            "How far the part moves the centre of mass forward: its moment over the total mass.",
            "Shift forward",
            method="`mass` times the part's x, over `total_mass`",
        ),
    ]
    y_shift: Annotated[
        Array,
        _signed(
            "mm",
            "How far the part moves the centre of mass to the right.",
            "Shift right",
            method="`mass` times the part's y, over `total_mass`",
        ),
    ]
    z_shift: Annotated[
        Array,
        _signed(
            "mm",
            "How far the part moves the centre of mass up.",
            "Shift up",
            method="`mass` times the part's z, over `total_mass`",
        ),
    ]


PARTS: Final = "sum(parts.mass * parts.count)"
TOTAL: Final = (
    f"{PARTS} + pack_mass + motors * propeller_mass",
    f"{PARTS} + pack_mass",
    f"{PARTS} + motors * propeller_mass",
    PARTS,
)
MOST: Final = "of the motor with the most thrust, by moments about two axes and the torques in balance"


def _centre(axis: str) -> tuple[str, str]:
    moment = f"sum(parts.mass * parts.count * parts.{axis})"
    return f"({moment} + pack_mass * pack_{axis}) / total_mass", f"{moment} / total_mass"


def _share(text: str, label: str, *formula: str, **more: Any) -> Quantity:
    method = "of the motors on that side, those in the middle counted half"
    return Quantity("%", text, label=label, at_most=100, formula=formula, method=method, **more)


@dataclass(frozen=True, slots=True)
class Results:
    """The centre of mass, the load on the motors, and what moving the pack does."""

    centre_of_mass_offset: Annotated[
        Array,
        Quantity(
            "mm",
            "Distance of the centre of mass from the centre of the motors, seen from above.",
            label="Off centre by",
            formula="sqrt(centre_of_mass_x**2 + centre_of_mass_y**2)",
        ),
    ]
    centre_of_mass_x: Annotated[
        Array,
        _signed("mm", "Centre of mass, forward of the centre.", "Centre of mass, forward", formula=_centre("x")),
    ]
    centre_of_mass_y: Annotated[
        Array,
        _signed("mm", "Centre of mass, right of the centre.", "Centre of mass, right", formula=_centre("y")),
    ]
    centre_of_mass_z: Annotated[
        Array, _signed("mm", "Centre of mass, above the propellers.", "Centre of mass, up", formula=_centre("z"))
    ]
    total_mass: Annotated[Array, Quantity("g", "Mass of everything.", label="Total mass", formula=TOTAL)]
    front_load_share: Annotated[
        Array,
        _share(
            "Share of the thrust in hover in front.", "Load in front", "1/2 + centre_of_mass_x / front_rear_spacing"
        ),
    ]
    rear_load_share: Annotated[
        Array, _share("Share of the thrust in hover at the rear.", "Load at the rear", "1 - front_load_share")
    ]
    right_load_share: Annotated[
        Array,
        _share(
            "Share of the thrust in hover on the right.",
            "Load on the right",
            "1/2 + 2 * centre_of_mass_y / (front_motor_spacing + rear_motor_spacing)",
        ),
    ]
    left_load_share: Annotated[
        Array, _share("Share of the thrust in hover on the left.", "Load on the left", "1 - right_load_share")
    ]
    highest_motor_thrust: Annotated[
        Array,
        Quantity(
            "gf",
            "Thrust in hover of the motor that carries the most.",
            label="Most loaded motor",
            formula="total_mass * STANDARD_GRAVITY / motors * (1 + thrust_excess_share)",
        ),
    ]
    thrust_excess_share: Annotated[
        Array,
        Quantity(
            "%",
            "How much more thrust the most loaded motor gives than at an even load.",
            label="Extra thrust of that motor",
            formula=(
                "2 * abs(centre_of_mass_x) / front_rear_spacing"
                " + 4 * abs(centre_of_mass_y) / (front_motor_spacing + rear_motor_spacing)",
            ),
            method=MOST,
        ),
    ]
    throttle_excess_share: Annotated[
        Array,
        Quantity(
            "%",
            "How much faster it turns, and about how much more throttle it takes.",
            label="Extra throttle of that motor",
            formula="sqrt(1 + thrust_excess_share) - 1",
        ),
    ]
    pack_mass_share: Annotated[
        Array,
        Quantity(
            "%",
            "Share of the pack in the mass: how far the centre of mass goes along when the pack is moved.",
            label="Pack's share of the mass",
            at_most=100,
            formula="pack_mass / total_mass",
            needs=("pack_mass",),
        ),
    ]
    moved_centre_of_mass_x: Annotated[
        Array,
        _signed(
            "mm",
            "Centre of mass forward of the centre, once the pack is moved.",
            "Forward, with pack moved",
            formula="centre_of_mass_x + pack_mass_share * pack_move",
            needs=("pack_mass",),
        ),
    ]
    moved_front_load_share: Annotated[
        Array,
        _share(
            "Share of the thrust in hover in front, once the pack is moved.",
            "In front, with pack moved",
            "1/2 + moved_centre_of_mass_x / front_rear_spacing",
            needs=("pack_mass",),
        ),
    ]
    balancing_pack_move: Annotated[
        Array,
        _signed(
            "mm",
            "How far forward to move the pack so that front and rear carry the same; negative is back.",
            "Move the pack forward by",
            formula="-centre_of_mass_x / pack_mass_share",
            needs=("pack_mass",),
        ),
    ]
    balancing_pack_x: Annotated[
        Array,
        _signed(
            "mm",
            "Where the middle of the pack then is, forward of the centre.",
            "Balancing place, forward",
            formula="pack_x + balancing_pack_move",
            needs=("pack_mass",),
        ),
    ]
    balancing_pack_y: Annotated[
        Array,
        _signed(
            "mm",
            "Where the middle of the pack has to be for balance between left and right.",
            "Balancing place, right",
            formula="pack_y - centre_of_mass_y / pack_mass_share",
            needs=("pack_mass",),
        ),
    ]
    by_part: Annotated[
        PartResults, Table(PartResults, "What each part does to the balance, the pack last.", label="Part by part")
    ]
