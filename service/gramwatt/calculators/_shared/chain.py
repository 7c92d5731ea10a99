"""The links that the current passes, from the pack to the motors: what each carries, and how much of that is used."""

from dataclasses import dataclass
from typing import Annotated, Any, Final, NamedTuple

import numpy as np

from gramwatt.calculators._shared import wires
from gramwatt.model import Array, BoolArray, Choice, IndexArray, Quantity, StringArray, Text

LINKS: Final = ("pack", "wire", "connector", "controllers", "motors")
LINK_NAMES: Final = np.array(["pack", "wire", "connector", "each controller", "each motor"])
PACK: Final = LINKS.index("pack")
WIRE: Final = LINKS.index("wire")

VERDICTS: Final = ("within", "short-peaks-only", "over")
VERDICT_NAMES: Final = ("within its limit", "for short peaks only", "over its limit")
WITHIN, SHORT_PEAKS_ONLY, OVER = range(len(VERDICTS))

ORIGINS: Final = ("label", "heat-balance", "maker")
ORIGIN_NAMES: Final = ("derated label", "estimate of its heat", "maker's rating")

LIMITS: Final = (
    "`discharge_rating * discharge_derating_factor * capacity` for the pack; the maker's rating or else "
    "`wire_current_limit` for the wire; the maker's ratings for all others"
)
MEAN_LOADS: Final = "`mean_motor_current` of each controller and motor, `mean_current` of all others"
PEAK_LOADS: Final = "`peak_motor_current` of each controller and motor, `peak_current` of all others"
BY_SHARES: Final = (
    "over if the average current, or a peak of more than 10 s, exceeds the limit, or a short peak the limit times "
    "`burst_factor`; short-peaks-only if a short peak exceeds the limit"
)
PEAK: Final = ("peak_current",)


@dataclass(frozen=True, slots=True)
class LinkResults:
    """One link of the chain."""

    name: Annotated[StringArray, Text("Link.", label="Link")]
    rating_verdict: Annotated[
        IndexArray,
        Choice(
            VERDICTS,
            "Whether it carries that.",
            label="Verdict",
            option_labels=VERDICT_NAMES,
            method=BY_SHARES,
        ),
    ]
    peak_limit_share: Annotated[
        Array,
        Quantity(
            "%",
            "Share of its limit at the peak.",
            label="Peak limit share",
            formula="peak_link_current / continuous_current_limit",
            needs=PEAK,
        ),
    ]
    mean_limit_share: Annotated[
        Array,
        Quantity(
            "%",
            "Share of its limit on average.",
            label="Average limit share",
            formula="mean_link_current / continuous_current_limit",
        ),
    ]
    continuous_current_limit: Annotated[Array, Quantity("A", "Current that it carries for long.", method=LIMITS)]
    limit_origin: Annotated[
        IndexArray,
        Choice(
            ORIGINS,
            "Where that limit comes from.",
            label="Limit from",
            option_labels=ORIGIN_NAMES,
            method="maker where its rating is given; else label of the pack, and heat-balance of the wire",
        ),
    ]
    peak_link_current: Annotated[Array, Quantity("A", "Current through it at the peak.", needs=PEAK, method=PEAK_LOADS)]
    mean_link_current: Annotated[
        Array, Quantity("A", "Current through it on average.", label="Average load", method=MEAN_LOADS)
    ]


class Loads(NamedTuple):
    """Currents through one controller and its motor; arrays (N,) [A]."""

    mean: Array
    peak: Array


def motor_currents(given: Any) -> Loads:
    """Return the current of one motor on average and at the peak.

    A controller is an ideal converter: each motor has its part of the pack's current, divided by the throttle.
    """
    return Loads(
        given.mean_current / (given.motors * given.mean_throttle),
        given.peak_current / (given.motors * given.throttle_cap),
    )


def pack_limit(given: Any) -> Array:
    """Return the current (N,) [A] that the pack gives for long, by its derated label."""
    return np.asarray(given.discharge_rating * given.discharge_derating_factor * given.capacity)


def find_links(given: Any, burst_duration: float) -> LinkResults:
    """Return the links (N, M) whose limit any of the requests gives; a peak up to ``burst_duration`` [s] is short."""
    motor = motor_currents(given)
    by_heat = wires.current_limit(given, wires.copper_area(given))
    wire_limit = np.where(np.isnan(given.wire_rating), by_heat, given.wire_rating)
    limits = np.stack(
        [pack_limit(given), wire_limit, given.connector_rating, given.controller_rating, given.motor_rating], axis=1
    )
    means, peaks = (
        np.stack([of_pack] * 3 + [of_motor] * 2, axis=1)
        for of_pack, of_motor in zip((given.mean_current, given.peak_current), motor, strict=True)
    )
    origins = np.full(limits.shape, ORIGINS.index("maker"))
    origins[:, PACK] = ORIGINS.index("label")
    origins[:, WIRE] = np.where(np.isnan(given.wire_rating), ORIGINS.index("heat-balance"), origins[:, WIRE])
    known = np.isfinite(limits).any(axis=0)
    mean_share, peak_share = means / limits, peaks / limits
    names = np.broadcast_to(LINK_NAMES, limits.shape)
    verdicts = rate(given, mean_share, peak_share, burst_duration)
    return LinkResults(
        name=names[:, known],
        continuous_current_limit=limits[:, known],
        limit_origin=origins[:, known],
        mean_link_current=means[:, known],
        peak_link_current=peaks[:, known],
        mean_limit_share=mean_share[:, known],
        peak_limit_share=peak_share[:, known],
        rating_verdict=verdicts[:, known],
    )


def rate(given: Any, mean_share: Array, peak_share: Array, burst_duration: float) -> IndexArray:
    """Return the verdict (N, M) of links by the shares of their limits that are used."""
    is_long = (given.peak_duration > burst_duration)[:, None]
    allowed = np.where(is_long, 1.0, given.burst_factor[:, None])
    over = (mean_share > 1) | (peak_share > allowed)
    return np.where(over, OVER, np.where(peak_share > 1, SHORT_PEAKS_ONLY, WITHIN)).astype(np.intp)


class Weakest(NamedTuple):
    """The link that uses most of its limit; arrays (N,)."""

    share: Array
    """nan where no link has a limit."""
    link: IndexArray
    """Position in `LINKS`, -1 where none has a limit."""


def find_weakest(links: LinkResults) -> Weakest:
    """Return the weakest of the links (N, M)."""
    count = len(links.name)
    shares = np.fmax(links.mean_limit_share, links.peak_limit_share)
    ranked = np.concatenate([np.full((count, 1), -np.inf), np.where(np.isnan(shares), -np.inf, shares)], axis=1)
    at = ranked.argmax(axis=1)
    positions = np.array([-1, *(list(LINK_NAMES).index(name) for name in links.name[0])], dtype=np.intp)
    share = ranked[np.arange(count), at]
    return Weakest(np.where(at > 0, share, np.nan), positions[at])


def is_over(given: Any, found: Any) -> BoolArray:
    """Return whether (N,) some link is over its limit."""
    return np.asarray(found.rating_verdict == OVER)
