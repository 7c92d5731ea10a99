"""Charts of the balance of a craft: seen from above, part by part, and against the place of the pack."""

from typing import Annotated, Any, Final

import numpy as np

from gramwatt.calculators._shared import motor_layout
from gramwatt.calculators._shared.balance_texts import EVEN, UNEVEN
from gramwatt.model import Array, BarChart, CurveChart, Dimension, DrawingChart, Outline, Unit
from gramwatt.model.charts import ShapeRole

MAX_PARTS: Final = 8
"""Parts that are drawn: those that shift the centre of mass most."""
MOTOR_RADIUS: Final = 0.12
"""Of what stands for a motor, in half diagonals of the craft."""
SHOWN_MOVE: Final[Annotated[float, Unit("m")]] = 0.03
"""How far the chart moves the pack either way."""


def _circle(forward: float, right: float, radius: float) -> tuple[Array, Array]:
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    return right + radius * np.cos(angle), forward + radius * np.sin(angle)


def _judge(ratio: float) -> ShapeRole:
    return "good" if ratio <= 1 + EVEN else "close" if ratio <= 1 + UNEVEN else "bad"


def _draw_motors(ratios: Array, x: Array, y: Array) -> tuple[list[Outline], list[Outline]]:
    """Return the arms, and the motors with how much more thrust than an even one each gives."""
    arms, motors = [], []
    radius = MOTOR_RADIUS * float(np.nanmax(np.hypot(x, y)))
    for forward, right, ratio in zip(x, y, ratios, strict=True):
        if np.isfinite(forward):
            arms.append(Outline(np.array([0.0, right]), np.array([0.0, forward]), role="quiet", closed=False))
            known = np.isfinite(ratio)
            name = f"{100 * (ratio - 1):+.1f} %".replace("-", "\N{MINUS SIGN}") if known else ""
            role = _judge(ratio) if known else "quiet"
            motors.append(Outline(*_circle(forward, right, radius), role=role, name=name, filled=True))
    return arms, motors


def _draw_parts(given: Any, found: Any) -> list[Outline]:
    """Return a dot for each of the parts that shift the centre of mass most."""
    shift = np.hypot(found.by_part.x_shift[0], found.by_part.y_shift[0])[: given.parts.mass.shape[1]]
    drawn = [at for at in np.argsort(-shift)[:MAX_PARTS] if shift[at] > 0]
    return [
        Outline(given.parts.y[0, [at]], given.parts.x[0, [at]], role="body", name=str(given.parts.name[0, at]))
        for at in drawn
    ]


def trace_plan(ratios: Array, given: Any, found: Any) -> tuple[Outline | Dimension, ...]:
    """Return the craft from above: motors with their thrust ``ratios`` (16,), parts, pack, and the centre of mass."""
    x, y = (each[0] for each in motor_layout.find_places(given))
    if not motor_layout.are_known(given)[0] or np.isnan(found.centre_of_mass_x[0]):
        return ()
    arms, motors = _draw_motors(ratios, x, y)
    pack = [
        Outline(given.pack_y[:1], given.pack_x[:1], name="pack"),
        Outline(found.balancing_pack_y[:1], found.balancing_pack_x[:1], role="good", name="pack in balance"),
    ]
    front, rear, reach = float(np.nanmax(x)), float(np.nanmin(x)), float(np.nanmax(y))
    return (
        *arms,
        *motors,
        *(pack if np.isfinite(found.pack_mass_share[0]) else ()),
        *_draw_parts(given, found),
        Outline(found.centre_of_mass_y[:1], found.centre_of_mass_x[:1], role="highlight", name="centre of mass"),
        Dimension((reach, rear), (reach, front), away=-3 * MOTOR_RADIUS * reach),
    )


BARS: Final = BarChart(("x_shift", "y_shift"), table="by_part", title="What moves the centre of mass")
CURVE: Final[CurveChart[Any, Any]] = CurveChart(
    "pack_x",
    ("front_load_share",),
    start=lambda given, found: found.balancing_pack_x - SHOWN_MOVE,
    stop=lambda given, found: found.balancing_pack_x + SHOWN_MOVE,
    title="Load in front against the place of the pack",
)


def draw_plan(trace: Any) -> DrawingChart[Any, Any]:
    """Return the chart of the craft from above; ``trace`` is its function."""
    return DrawingChart(
        trace,
        measure="centre_of_mass_offset",
        note="Front at the top; thrust against an even load",
        title="The craft from above",
    )
