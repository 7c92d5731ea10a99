"""Headlines, cautions and rules about the balance of a craft."""

from typing import Any, Final

import numpy as np

from gramwatt.calculators._shared import motor_layout
from gramwatt.model import Caution, Rule, Sentence

EVEN: Final = 0.05
UNEVEN: Final = 0.15
"""Extra thrust of the most loaded motor up to which a craft counts as balanced, and from which as badly balanced. Rule
of thumb, no source."""
MIN_MOTORS: Final = 3
LOADS: Final = (
    *("front_load_share", "rear_load_share", "right_load_share", "left_load_share"),
    *("highest_motor_thrust", "thrust_excess_share", "throttle_excess_share"),
)
MOVED: Final = "moved_front_load_share"
BALANCING: Final = ("balancing_pack_move", "balancing_pack_x", "balancing_pack_y")
FRONT_DETAIL: Final = "The front motors carry {front_load_share}, the rear ones {rear_load_share}."
SIDE_DETAIL: Final = "The right motors carry {right_load_share}, the left ones {left_load_share}."


def _is_outside(given: Any, found: Any) -> Any:
    """Return where (N,) the motors are known, and one of them would have to pull down."""
    return (
        motor_layout.are_known(given)
        & (given.motors >= MIN_MOTORS)
        & np.isnan(found.thrust_excess_share)
        & (found.total_mass > 0)
    )


def _is_even(given: Any, found: Any) -> Any:
    return found.thrust_excess_share <= EVEN


def _is_uneven(given: Any, found: Any) -> Any:
    return found.thrust_excess_share > UNEVEN


def _judge(text: str, *details: str, holds: Any) -> tuple[Sentence[Any, Any], ...]:
    return (
        Sentence(text, details=details, verdict="bad", when=lambda g, f: holds(f) & _is_uneven(g, f)),
        Sentence(text, details=details, verdict="close", when=lambda g, f: holds(f) & ~_is_even(g, f)),
    )


def _leans_forward(found: Any) -> Any:
    return np.abs(found.centre_of_mass_x) >= np.abs(found.centre_of_mass_y)


def _is_unplaced(given: Any, found: Any) -> Any:
    """Return where (N,) every part and the pack are at the centre, as they are for lack of places."""
    placed = [given.parts.x, given.parts.y, given.pack_x[:, None], given.pack_y[:, None]]
    return (np.nan_to_num(np.concatenate(placed, axis=1)) == 0).all(axis=1)


SENTENCES: Final[tuple[Sentence[Any, Any], ...]] = (
    Sentence(
        "Everything counts as at the centre: say where parts and pack are",
        details=("The total mass is {total_mass}.",),
        when=_is_unplaced,
    ),
    Sentence(
        "It cannot hover: the centre of mass is {centre_of_mass_offset} off, outside of the motors",
        when=_is_outside,
        verdict="bad",
    ),
    Sentence(
        "In balance: the centre of mass is {centre_of_mass_offset:range} from the motors' centre",
        details=(FRONT_DETAIL,),
        when=_is_even,
        verdict="good",
    ),
    *_judge(
        "Nose-heavy: the centre of mass is {centre_of_mass_x:magnitude} ahead of the motors' centre",
        FRONT_DETAIL,
        "The pack balances it {balancing_pack_move:magnitude} farther back.",
        holds=lambda found: _leans_forward(found) & (found.centre_of_mass_x > 0),
    ),
    *_judge(
        "Tail-heavy: the centre of mass is {centre_of_mass_x:magnitude} behind the motors' centre",
        FRONT_DETAIL,
        "The pack balances it {balancing_pack_move:magnitude} farther forward.",
        holds=_leans_forward,
    ),
    *_judge(
        "Heavy on the right: the centre of mass is {centre_of_mass_y:magnitude} to the right of the motors' centre",
        SIDE_DETAIL,
        holds=lambda found: found.centre_of_mass_y > 0,
    ),
    *_judge(
        "Heavy on the left: the centre of mass is {centre_of_mass_y:magnitude} to the left of the motors' centre",
        SIDE_DETAIL,
        holds=lambda found: found.centre_of_mass_y < 0,
    ),
    Sentence("The centre of mass is {centre_of_mass_offset:range} from the motors' centre"),
)

RULES: Final[tuple[Rule[Any, Any], ...]] = (
    Rule(
        "nothing-weighed",
        "The total mass is {total_mass}, so there is no centre of mass.",
        when=lambda given, found: found.total_mass == 0,
        results=(
            *("centre_of_mass_offset", "centre_of_mass_x", "centre_of_mass_y", "centre_of_mass_z", "pack_mass_share"),
            *(*LOADS, "moved_centre_of_mass_x", MOVED, *BALANCING),
        ),
    ),
    Rule(
        "too-few-motors",
        "With fewer than three motors the load does not follow from the centre of mass alone.",
        when=lambda given, found: given.motors < MIN_MOTORS,
        results=(*LOADS, MOVED),
    ),
    *motor_layout.rules(*LOADS, MOVED),
    Rule(
        "outside-motors",
        "The centre of mass is too far out: a motor would have to pull down, so the craft cannot hover.",
        partly="the craft cannot hover, as the centre of mass is outside of the motors",
        when=_is_outside,
        results=LOADS,
    ),
    Rule(
        "moved-outside-motors",
        "With the pack moved by {pack_move} the craft cannot hover: a motor would have to pull down.",
        partly="the craft cannot hover with the pack moved",
        when=lambda given, found: np.isnan(found.moved_front_load_share) & np.isfinite(found.pack_mass_share),
        results=(MOVED,),
        severity="medium",
    ),
)

CAUTIONS: Final[tuple[Caution[Any, Any], ...]] = (
    Caution(
        "uneven-load",
        "One motor gives {thrust_excess_share} more thrust in hover than at an even load, and turns "
        "{throttle_excess_share} faster. It runs hotter and has less left for control.",
        when=_is_uneven,
        severity="high",
    ),
    Caution(
        "pack-cannot-balance",
        "The pack would have to be {balancing_pack_x:rough} from the centre, farther out than the motors: move "
        "something else as well.",
        when=lambda given, found: np.abs(found.balancing_pack_x) > given.front_rear_spacing / 2,
    ),
    Caution(
        "place-assumed",
        "{parts.name}: no place forward of the centre was given, so it counts as at the centre of the propellers.",
        assumed="parts.x",
    ),
    Caution(
        "pack-place-assumed",
        "No place of the pack was given: it counts as at the centre of the propellers.",
        assumed="pack_x",
    ),
    Caution(
        "pack-mass-needed",
        "The place of the pack was not used, as its mass is missing: give the pack mass.",
        when=lambda given, found: np.isnan(given.pack_mass) & np.isfinite(given.pack_x),
        missing=True,
    ),
    Caution(
        "balance-by-hand",
        "Check the finished craft, propellers off: held at two points on the line across the middle of the motors, it "
        "stays level if front and rear balance.",
    ),
    Caution(
        "secure-the-pack",
        "Secure a pack that you have moved so that it cannot slide, clear of propellers, screws and sharp edges. A "
        "lithium pack that is dented or pierced can burn.",
        severity="high",
    ),
)
