"""A throttle cap and its effects, as results."""

from typing import Annotated, TypeAlias

from gramwatt.calculators._shared import fields, throttle_targets
from gramwatt.model import (
    Array,
    Choice,
    IndexArray,
    Quantity,
)

MATCHING = (
    "with propellers and pack the throttle that turns the propellers, under load, as the target motor and pack do at "
    "full throttle; at most 100 %"
)

TIP_MACH = f"no_load_speed * diameter / (2 * {fields.SPEED_OF_SOUND})"

ThrottleCap: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Maximum throttle to allow.",
        at_most=100,
        formula="min(caps.cap)",
    ),
]
CapSetBy: TypeAlias = Annotated[
    IndexArray,
    Choice(
        throttle_targets.CAP_SET_BY,
        "Target that sets the cap.",
        label="Cap set by",
        method="the lowest; full-throttle where none is below it",
    ),
]
MatchingThrottleCap: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Cap that matches the target motor and pack, other targets aside.",
        at_most=100,
        formula=("min(ratio_without_load, 1)",),
        method=MATCHING,
    ),
]
EffectiveKv: TypeAlias = Annotated[
    Array,
    Quantity(
        "rpm/V", "Effective speed constant of the capped motor.", label="Effective kV", formula="kv * throttle_cap"
    ),
]
NoLoadSpeed: TypeAlias = Annotated[
    Array,
    Quantity(
        "rpm", "Speed without load at the cap.", label="No-load speed", formula="uncapped_no_load_speed * throttle_cap"
    ),
]
UncappedNoLoadSpeed: TypeAlias = Annotated[
    Array,
    Quantity(
        "rpm",
        "Speed without load and without a cap.",
        label="Uncapped no-load speed",
        formula="kv * cells * cell_voltage",
    ),
]
ThrustShare: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Thrust over that at full throttle, same propeller.",
        formula=("throttle_cap**thrust_exponent",),
        method="by the equations of full-throttle, where motors, propellers and pack are known",
    ),
]
PowerShare: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Shaft power over that at full throttle, same propeller.",
        formula="thrust_share**1.5",
    ),
]
NoLoadTipMach: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "Tip Mach number without load at the cap.",
        label="No-load tip Mach number",
        formula=TIP_MACH,
        needs=("diameter",),
    ),
]
