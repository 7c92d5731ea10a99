"""How a craft is flown, as a ratio of its average power to its hover power."""

from typing import Annotated, Any, Final, TypeAlias

import numpy as np

from gramwatt.model import Array, Assumption, Choice, Group, IndexArray, Quantity, Reference

FLIGHT_STYLES: Final = ("hover", "cruise", "freestyle", "racing")
STYLE_RATIOS: Final = np.array([1.0, 1.35, 2.0, 3.0])
STYLE_FACTORS: Final = np.array([1.05, 1.08, 1.15, 1.30])
"""Average power over hover power by style, and the factor to which it is known: rule of thumb, no source. Cruise is 1.2
to 1.5, mild freestyle about 2 (one measured small craft: 1.9 to 2.3), racing above."""

FlightStyle: TypeAlias = Annotated[
    IndexArray,
    Choice(
        FLIGHT_STYLES,
        "How it is flown, if average over hover power is not given: hovering, cruising, mild freestyle or racing.",
        group=Group.FLIGHT,
        default="cruise",
    ),
]
HoverPowerRatio: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "Average power over hover power; default by flight style: "
        + ", ".join(f"{name} {ratio:g}" for name, ratio in zip(FLIGHT_STYLES, STYLE_RATIOS.tolist(), strict=True))
        + ".",
        label="Average over hover power",
        group=Group.FLIGHT,
        at_least=0.5,
        at_most=10,
        optional=True,
        replaces=("flight_style",),
        synonyms=("hover_ratio",),
    ),
]
RATIO_BY_STYLE: Final[Assumption[Any]] = Assumption(
    "hover_power_ratio",
    "by flight style: rule of thumb, no source",
    lambda given: np.where(given.flight_style < 0, np.nan, STYLE_RATIOS[given.flight_style]),
    factor=lambda given: STYLE_FACTORS[given.flight_style],
)
STYLES: Final = Reference("Average power as a multiple of hover power, by flight style: rule of thumb, no source")
