"""An invented calculator whose charts are drawings: a screw in its layers, a plan of a craft, a frame of a camera."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from gramwatt.model import (
    Array,
    Calculator,
    Caution,
    Dimension,
    DrawingChart,
    Example,
    Outline,
    Quantity,
    Reference,
)

PLATE = 2e-3
"""Thickness of the lower layer in metres."""


@dataclass(frozen=True, slots=True)
class Inputs:
    """A stack of two layers."""

    stack: Annotated[Array, Quantity("mm", "Thickness of both layers.", above=0, at_most=1000)]


@dataclass(frozen=True, slots=True)
class Results:
    """What is left of the stack."""

    rest: Annotated[Array, Quantity("mm", "Thickness of the upper layer.", signed=True, method="stack less the plate")]


def invented_drawings(given: Inputs) -> Results:
    """Return the thickness of the upper layer. It has no limits."""
    return Results(rest=given.stack - PLATE)


def box(left: float, bottom: float, right: float, top: float) -> tuple[Array, Array]:
    """Return the corners of a rectangle."""
    return np.array([left, right, right, left]), np.array([bottom, bottom, top, top])


def circle(x: float, y: float, radius: float) -> tuple[Array, Array]:
    """Return points of a circle."""
    angle = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    return x + radius * np.cos(angle), y + radius * np.sin(angle)


def trace_screw(given: Inputs, found: Results) -> tuple[Outline | Dimension, ...]:
    """Return a screw through two layers; nothing for a stack thinner than the plate."""
    stack, rest = float(given.stack[0]), float(found.rest[0])
    if rest <= 0:
        return ()
    head = 2e-3
    return (
        Outline(*box(-6e-3, 0, 6e-3, PLATE), role="quiet", name="carbon plate", filled=True),
        Outline(*box(-6e-3, PLATE, 6e-3, stack), role="quiet", name="motor base", filled=True),
        Outline(*box(-1.5e-3, 0, 1.5e-3, stack + 1.5e-3), role="body", name="M3 screw", filled=True),
        Outline(*box(-2.75e-3, -head, 2.75e-3, 0), role="body", filled=True),
        Outline(np.array([-3e-3, 3e-3]), np.array([stack + 2.5e-3] * 2), role="limit", name="windings", closed=False),
        Dimension((6e-3, 0), (6e-3, stack), "stack", away=-1.5e-3),
        Dimension((-6e-3, 0), (-6e-3, PLATE), "plate", away=1.5e-3),
    )


def trace_plan(given: Inputs, found: Results) -> tuple[Outline | Dimension, ...]:
    """Return a craft from above: arms, propeller discs, parts and a center of mass."""
    half = 78e-3
    corners = [(half, half), (-half, half), (-half, -half), (half, -half)]
    arms = [Outline(np.array([0, x]), np.array([0, y]), role="quiet", closed=False) for x, y in corners]
    names = ("front right", "front left", "rear left", "rear right")
    discs = [
        Outline(*circle(x, y, 63e-3), role="quiet", name=name, dashed=True)
        for (x, y), name in zip(corners, names, strict=True)
    ]
    return (
        *arms,
        *discs,
        Outline(*box(-17e-3, -40e-3, 17e-3, 35e-3), name="pack", filled=True),
        Outline(*box(-10e-3, 55e-3, 10e-3, 75e-3), name="camera", filled=True),
        Outline(np.array([0.0]), np.array([4e-3]), role="highlight", name="center of mass"),
        Dimension((-half, half), (half, half), away=80e-3),
    )


def trace_frame(given: Inputs, found: Results) -> tuple[Outline | Dimension, ...]:
    """Return what a camera sees, in half heights of its frame: two discs that enter it and one that does not."""
    return (
        Outline(*box(-16 / 9, -1, 16 / 9, 1), role="body", name="frame, 16:9"),
        Outline(*circle(-2.1, 1.5, 1.0), role="bad", name="front left, in view by 7.3°", filled=True),
        Outline(*circle(2.4, 1.4, 0.9), role="close", name="front right, in view by 0.4°", filled=True),
        Outline(*circle(0, -9, 7.6), role="good", name="rear left, clear by 9.1°", filled=True),
        Dimension((0, -1.4), (0, -1), "gap", value=float(given.stack[0]), measure="rest"),
    )


def get_window(given: Inputs, found: Results) -> tuple[float, float, float, float]:
    """Return what is drawn of the frame and around it."""
    return (-2.4, 2.4, -1.6, 1.6)


SCREW = DrawingChart(trace_screw, measure="stack", title="The screw in its stack")
PLAN = DrawingChart(
    trace_plan, measure="stack", scale_bar=True, note="Seen from above, front at the top", title="The craft from above"
)
FRAME = DrawingChart(trace_frame, window=get_window, note="As the camera sees it", title="The frame of the camera")
CALCULATOR = Calculator(
    title="How thick is the upper layer?",
    summary="Thickness of the upper of two layers.",
    inputs=Inputs,
    results=Results,
    formula=invented_drawings,
    references=(Reference("Derived by hand."),),
    cautions=(Caution("play-ignored", "Play is ignored."),),
    charts=(SCREW, PLAN, FRAME),
    examples=(
        Example("Thin", given={"stack": 7}, expected={"rest": 5}, rtol=1e-12, source="hand"),
        Example("Thick", given={"stack": 12}, expected={"rest": 10}, rtol=1e-12, source="hand"),
    ),
)
