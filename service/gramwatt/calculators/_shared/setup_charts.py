"""The charts of a craft in several setups."""

from typing import Any, Final

import numpy as np

from gramwatt.calculators._shared import setups
from gramwatt.model import Array, BarChart, LinesChart, ScatterChart, TracedLine
from gramwatt.physics import craft, weighing

LOWEST_DUTY: Final = 0.2
"""There is little thrust below it, and some motors do not turn. Rule of thumb, no source."""
POINTS: Final = 41
"""Steps of 2 % from there to full throttle: the lines look smooth."""


def get_limit(given: Any, found: Any) -> Array:
    """Return the mass limit in force [kg] (N,)."""
    return weighing.limit_in_force(given.rule, given.mass_limit, given.limit_comparison)[0]


def trace_thrust(given: Any, found: Any) -> tuple[TracedLine, ...]:
    """Return the thrust of each setup against its throttle, its throttle cap marked, of one request."""
    chosen, by_setup = setups.choose(given), found.by_setup
    duties = np.linspace(LOWEST_DUTY, 1, POINTS)
    thrust = craft.operate(chosen.drive, duties[:, None, None], **setups.get_source(given, chosen)).thrust
    shape = (POINTS, *by_setup.mass.shape)
    return tuple(
        TracedLine(str(name), duties, line, (float(cap), float(capped)) if cap < 1 else None)
        for name, line, cap, capped in zip(
            by_setup.name[0],
            np.broadcast_to(thrust, shape)[:, 0].T,
            by_setup.throttle_cap[0],
            by_setup.capped_thrust[0],
            strict=True,
        )
    )


CHARTS: Final = (
    ScatterChart("by_setup", x="mass", y="endurance", limit=get_limit, title="Flight time against mass"),
    LinesChart(
        trace_thrust,
        x="by_setup.throttle_cap",
        y="by_setup.thrust",
        x_label="Throttle",
        y_label="Thrust",
        marks_are="throttle cap",
        title="Thrust against throttle",
    ),
    BarChart(
        ("endurance", "mass_margin", "thrust_to_weight", "capped_pack_current"),
        table="by_setup",
        title="Setups side by side",
    ),
)
