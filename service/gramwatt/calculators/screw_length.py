"""Which standard lengths of a screw fit a stack of layers: engagement, room at the tip, and mass."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from gramwatt.calculators._shared import screw_charts, screw_fields, screw_texts
from gramwatt.calculators._shared.screw_results import LengthResults, MaterialResults, Results
from gramwatt.model import Array, Calculator, Example, IndexArray, Reference
from gramwatt.physics import screws

TOLERANCE: Final = 1e-9
"""Of lengths that are sums of decimals."""


@dataclass(frozen=True, slots=True)
class Inputs:
    """The screw, the layers, and the thread at their end."""

    layers: screw_fields.Layers
    thread: screw_fields.Thread
    head: screw_fields.Head
    tapped_material: screw_fields.TappedMaterial
    thread_depth: screw_fields.HoleDepth
    space_behind_thread: screw_fields.SpaceBehind
    minimum_tip_clearance: screw_fields.TipClearance
    minimum_engagement_ratio: screw_fields.EngagementRatio
    other_lengths: screw_fields.OtherLengths
    screws: screw_fields.Screws
    screw_material: screw_fields.ScrewMaterial
    screw_mass_error: screw_fields.MassError


def _find_fit(given: Inputs, length: Array, stack: Array, needed: Array) -> IndexArray:
    """Return whether each length (N, M) fits: a position in the verdicts. Sums of decimals may be a last bit off."""
    slack = TOLERANCE * length
    reach = length - stack[:, None]
    free = (given.thread_depth + given.space_behind_thread)[:, None]
    conditions = [
        reach > free + slack,
        reach <= slack,
        reach < needed[:, None] - slack,
        reach > free - given.minimum_tip_clearance[:, None] + slack,
    ]
    verdicts = [screw_texts.TOUCHES, screw_texts.NO_THREAD, screw_texts.TOO_SHORT, screw_texts.TOO_CLOSE]
    return np.select(conditions, verdicts, screw_texts.FITS).astype(np.intp)


def _unit_mass(given: Inputs, length: Array) -> Array:
    """Return the mass (N, M) [kg] of one screw of each length for a density of 1 kg/m^3."""
    spread = screws.MASS_FACTOR * np.exp(screws.MASS_SPREAD * given.screw_mass_error)
    return np.asarray(spread[:, None] * screws.screw_volume(given.head, given.thread, length))


def screw_length(given: Inputs) -> Results:
    """Compare the standard lengths with what the layers, the thread and the space behind it allow.

    The screw engages as deep as it reaches into full thread. A length fits if that is enough and its tip keeps its
    distance from what is behind. Nominal sizes: the tolerance of the length belongs into the distance to keep, and soft
    layers are as thick as when they are tight. A nut counts as fully engaged when the tip is flush with it. Strength is
    not computed.
    """
    diameter, pitch = screws.DIAMETER[given.thread], screws.PITCH[given.thread]
    stack = (given.layers.thickness * given.layers.count).sum(axis=1)
    needed = np.minimum(given.minimum_engagement_ratio * diameter, given.thread_depth)
    standard = np.broadcast_to(screws.LENGTHS, (len(stack), len(screws.LENGTHS)))
    length = np.sort(np.concatenate([standard, given.other_lengths], axis=1), axis=1)
    fit = _find_fit(given, length, stack, needed)
    engagement = np.clip(length - stack[:, None], 0.0, given.thread_depth[:, None])
    end = stack + given.thread_depth + given.space_behind_thread

    fits = fit == screw_texts.FITS
    shortest, longest = np.where(fits, length, np.inf).min(axis=1), np.where(fits, length, -np.inf).max(axis=1)
    chosen, longest = (np.where(np.isfinite(each), each, np.nan) for each in (shortest, longest))
    engaged = np.minimum(chosen - stack, given.thread_depth)
    density = screws.DENSITY[given.screw_material]
    unit_mass = _unit_mass(given, chosen[:, None])[:, 0]
    by_material = given.screws[:, None] * unit_mass[:, None] * screws.DENSITY
    materials = np.broadcast_to(np.arange(len(screws.MATERIALS)), by_material.shape)
    return Results(
        recommended_length=chosen,
        engagement=engaged,
        engaged_turns=engaged / pitch,
        engagement_ratio=engaged / diameter,
        tip_clearance=end - chosen,
        longest_fitting_length=longest,
        minimum_length=stack + needed,
        maximum_length=end - given.minimum_tip_clearance,
        stack_thickness=stack,
        minimum_engagement=needed,
        screw_mass=unit_mass * density,
        total_screw_mass=given.screws * unit_mass * density,
        thread_diameter=diameter,
        thread_pitch=pitch,
        pitch_diameter=screws.pitch_diameter(diameter, pitch),
        minor_diameter=screws.minor_diameter(diameter, pitch),
        by_length=LengthResults(
            length=length,
            length_verdict=fit,
            engagement=engagement,
            engagement_ratio=engagement / diameter[:, None],
            engaged_turns=engagement / pitch[:, None],
            tip_clearance=end[:, None] - length,
            screw_mass=_unit_mass(given, length) * density[:, None],
            is_standard=screws.is_standard(given.head, given.thread, length),
        ),
        by_material=MaterialResults(
            material=materials,
            total_screw_mass=by_material,
            mass_change=by_material - (given.screws * unit_mass * density)[:, None],
        ),
    )


def _refer(text: str, *about: str, **more: Any) -> Reference:
    return Reference(text, about=about, **more)


CALCULATOR = Calculator(
    title="How long must the screw be?",
    summary="Standard lengths that fit a stack of layers: engagement, what the tip would touch, and grams.",
    inputs=Inputs,
    results=Results,
    formula=screw_length,
    category="choose",
    sentences=screw_texts.SENTENCES,
    assumptions=screw_fields.ASSUMPTIONS,
    rules=screw_texts.RULES,
    cautions=screw_texts.CAUTIONS,
    charts=(screw_charts.SECTION, screw_charts.GRAMS),
    references=(
        _refer("Derived: stack, engagement and room at the tip are sums and differences of lengths"),
        _refer(
            "ISO 261:1998, ISO general purpose metric screw threads, coarse pitch, from memory",
            *("thread_diameter", "thread_pitch", "engaged_turns"),
        ),
        _refer(
            "ISO 724:1993, basic dimensions: d2 = d - 0.6495 P, D1 = d - 1.0825 P", "pitch_diameter", "minor_diameter"
        ),
        _refer(
            "ISO 4762:2004, hexagon socket head cap screws; ISO 7380-1:2011, button head; ISO 10642:2019, countersunk: "
            "nominal lengths and dimensions of heads, from memory",
            *(
                "recommended_length",
                "longest_fitting_length",
                "by_length",
                "screw_mass",
                "total_screw_mass",
                "by_material",
            ),
        ),
        _refer(
            "Engagement of 1.0 diameter in steel, 1.5 to 2 in aluminium: rule of thumb, no source",
            *("minimum_engagement", "minimum_length", "recommended_length"),
        ),
        _refer(
            "Densities of steel, stainless steel, Ti-6Al-4V and EN AW-7075: usual handbook values, from memory",
            *("screw_mass", "total_screw_mass", "by_length", "by_material"),
        ),
    ),
    examples=(
        Example(
            "A motor on an arm of 4 mm, its windings 2 mm behind a base of 3.5 mm",
            given={
                "layers": [{"name": "arm", "thickness": 4}, {"name": "washer", "thickness": 0.5}],
                "thread": "M3",
                "thread_depth": 3.5,
                "space_behind_thread": 2,
                "minimum_engagement_ratio": 1,
                "screws": 16,
            },
            expected={
                "stack_thickness": 4.5,
                "minimum_length": 7.5,
                "maximum_length": 9.5,
                "recommended_length": 8,
                "engagement": 3.5,
                "engaged_turns": 7,
                "tip_clearance": 2,
                "pitch_diameter": 3 - 0.375 * 3**0.5 * 0.5,
            },
            rtol=1e-11,
            source="by hand: 4 + 0.5 = 4.5 mm; 4.5 + 3 = 7.5 mm; 4.5 + 3.5 + 2 - 0.5 = 9.5 mm; 8 - 4.5 = 3.5 mm = 7 x "
            "0.5 mm; 10 - 8 = 2 mm; ISO 724",
        ),
        Example(
            "A blind hole in aluminium that no standard length fits, but one of 7 mm",
            given={
                "layers": [{"name": "plate", "thickness": 1.5}, {"name": "spacer", "thickness": 0.5, "count": 2}],
                "thread": "M2.5",
                "thread_depth": 5,
                "other_lengths": [7, 14],
                "minimum_tip_clearance": 0.4,
            },
            expected={
                "minimum_length": 6.25,
                "maximum_length": 7.1,
                "recommended_length": 7,
                "engagement_ratio": 1.8,
                "tip_clearance": 0.5,
            },
            rtol=1e-11,
            source="by hand: 2.5 + 1.5 x 2.5 = 6.25 mm; 2.5 + 5 - 0.4 = 7.1 mm; 4.5 / 2.5 = 1.8; 7.5 - 7 = 0.5 mm",
        ),
        Example(
            "A countersunk screw of titanium and a nut",
            given={
                "layers": [{"name": "plate", "thickness": 3}, {"name": "standoff", "thickness": 10}],
                "thread": "M3",
                "head": "countersunk",
                "tapped_material": "nut",
                "thread_depth": 2.4,
                "screw_material": "titanium",
                "screws": 8,
            },
            expected={"minimum_length": 15.4, "maximum_length": 24.9, "recommended_length": 16, "engagement": 2.4},
            rtol=1e-11,
            source="by hand: 3 + 10 + 2.4 = 15.4 mm; 13 + 2.4 + 10 - 0.5 = 24.9 mm; the nut is 2.4 mm high (ISO 4032)",
        ),
    ),
)
