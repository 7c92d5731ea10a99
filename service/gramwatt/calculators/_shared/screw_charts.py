"""Charts about the length of a screw: a section through it and its layers, and its mass by material."""

from typing import Any, Final

import numpy as np

from gramwatt.calculators._shared import screw_fields, screw_texts
from gramwatt.model import Array, BarChart, Dimension, DrawingChart, Outline
from gramwatt.physics import screws

HALF_WIDTH: Final = 3.0
"""Of the layers, in thread diameters."""
ROD_SHARE: Final = 0.87
"""Core of the thread over its diameter, as drawn."""


def _box(left: float, right: float, top: float, bottom: float) -> tuple[Array, Array]:
    return np.array([left, right, right, left]), np.array([-top, -top, -bottom, -bottom])


def _draw_screw(given: Any, length: float, role: Any, verdict: str) -> list[Outline]:
    """Return thread and head of a screw whose head sits on the first layer, or is flush with it."""
    head, thread = int(given.head[0]), int(given.thread[0])
    diameter = float(screws.DIAMETER[thread])
    height, width = (float(each[head, thread]) for each in (screws.HEAD_HEIGHT, screws.HEAD_DIAMETER))
    radius, core = diameter / 2, ROD_SHARE * diameter / 2
    shank = [
        Outline(
            *_box(-radius, radius, 0, length), role=role, name=f"{screws.THREADS[thread]} screw{verdict}", filled=True
        ),
        *(Outline(np.array([x, x]), np.array([0.0, -length]), role=role, closed=False) for x in (-core, core)),
    ]
    if head == screws.COUNTERSUNK:
        cone = (width - diameter) / 2
        x = np.array([-width / 2, width / 2, width / 2, radius, -radius, -width / 2])
        rim = height - cone
        return [*shank, Outline(x, -np.array([0.0, 0.0, rim, height, height, rim]), role=role, filled=True)]
    if head == screws.HEADS.index("button"):
        angle = np.linspace(0, np.pi, 30)
        return [*shank, Outline(width / 2 * np.cos(angle), height * np.sin(angle), role=role, filled=True)]
    return [*shank, Outline(*_box(-width / 2, width / 2, -height, 0), role=role, filled=True)]


def trace_section(given: Any, found: Any) -> tuple[Outline | Dimension, ...]:
    """Return the layers, the tapped part, the screw, and what its tip must not touch."""
    stack, depth, space = (
        float(each[0]) for each in (found.stack_thickness, given.thread_depth, given.space_behind_thread)
    )
    diameter = float(found.thread_diameter[0])
    half, end = HALF_WIDTH * diameter, stack + depth + space
    shapes: list[Outline | Dimension] = []
    top = 0.0
    for name, thickness, count in zip(
        given.layers.name[0], given.layers.thickness[0], given.layers.count[0], strict=True
    ):
        bottom = top + float(thickness * count)
        shapes.append(Outline(*_box(-half, half, top, bottom), role="quiet", name=str(name), filled=True))
        top = bottom
    tapped = int(given.tapped_material[0])
    part = "nut" if tapped == screw_fields.NUT else f"tapped {screw_fields.TAPPED_MATERIALS[tapped]}"
    shapes.append(Outline(*_box(-half, half, stack, stack + depth), role="quiet", name=part, filled=True))
    lengths = found.by_length.length[0]
    chosen = float(found.recommended_length[0])
    fits = np.isfinite(chosen)
    if not fits:  # the nearest one, to show why
        chosen = float(lengths[np.argmin(np.abs(lengths - float(found.minimum_length[0])))])
    verdict = screw_texts.VERDICT_NAMES[int(found.by_length.length_verdict[0][np.argmax(lengths == chosen)])]
    shapes += _draw_screw(given, chosen, "body" if fits else "bad", "" if fits else f", {verdict}")
    if tapped != screw_fields.NUT or space != screws.FREE_BEHIND_NUT:  # which is assumed: nothing is behind most nuts
        line, word = (
            (np.array([-half, half]), np.array([-end, -end])),
            "what is behind" if space else "end of the thread",
        )
        shapes.append(Outline(*line, role="limit", name=word, closed=False))
    shapes += [
        Dimension((-half, 0), (-half, -chosen), "length", away=-0.8 * diameter),
        Dimension((half, 0), (half, -stack), "layers", away=0.8 * diameter),
        Dimension((half, -stack), (half, -stack - depth), "thread", away=0.8 * diameter),
    ]
    return tuple(shapes)


SECTION: Final[DrawingChart[Any, Any]] = DrawingChart(
    trace_section, measure="stack_thickness", note="Section, head at the top", title="The screw in its layers"
)
GRAMS: Final = BarChart(("total_screw_mass",), table="by_material", label="material", title="Mass in each material")
