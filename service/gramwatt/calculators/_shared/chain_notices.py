"""Headlines, rules and cautions of the links from pack to motors."""

from typing import Any, Final

import numpy as np

from gramwatt.calculators._shared import chain, wires
from gramwatt.calculators._shared.cautions import LITHIUM_FIRE
from gramwatt.calculators._shared.sentences import CLOSE_TO_RATING
from gramwatt.model import BoolArray, Caution, Rule, Sentence

DETAILS: Final = (
    "{mean_current} on average, {peak_current} at the peak.",
    "The pack's label needs {mean_discharge_rating_needed} on average, {peak_discharge_rating_needed} at the peak.",
    "The average current needs AWG {mean_wire_gauge_needed} or thicker.",
)


def _knows(*ratings: str) -> Any:
    """Return a condition: whether (N,) any of these ratings is given."""
    return lambda given: np.any([~np.isnan(getattr(given, name)) for name in ratings], axis=0)


def _lacks_a_limit(given: Any, _: Any) -> BoolArray:
    """Return whether (N,) the pack, the connector, the wire or the controllers have no limit."""
    has_pack = ~np.isnan(given.discharge_rating) & ~np.isnan(given.capacity)
    has_wire = _knows("wire_gauge", "wire_area", "wire_rating")(given)
    has_both = ~np.isnan(given.connector_rating) & ~np.isnan(given.controller_rating)
    return np.asarray(~(has_pack & has_wire & has_both))


def _is_wire_estimated(given: Any, _: Any) -> BoolArray:
    return np.asarray(_knows("wire_gauge", "wire_area")(given) & np.isnan(given.wire_rating))


SENTENCES: Final[tuple[Sentence[Any, Any], ...]] = (
    Sentence(
        "Too much for the {weakest_link}: {highest_limit_share} of the continuous limit",
        details=DETAILS,
        when=chain.is_over,
        verdict="bad",
    ),
    Sentence(
        "For short peaks only: the {weakest_link} is at {highest_limit_share} of the continuous limit",
        details=DETAILS,
        when=lambda given, found: found.rating_verdict == chain.SHORT_PEAKS_ONLY,
        verdict="close",
    ),
    Sentence(
        "Close to the limit of the {weakest_link}: {highest_limit_share} of it",
        details=DETAILS,
        when=lambda given, found: found.highest_limit_share > CLOSE_TO_RATING,
        verdict="close",
    ),
    Sentence(
        "Every link carries it: the {weakest_link} is at {highest_limit_share} of its limit",
        details=DETAILS,
        verdict="good",
    ),
)
RULES: Final[tuple[Rule[Any, Any], ...]] = (
    Rule(
        "no-rated-link",
        "No link has a limit: give capacity with the C rating, or the rating of another link.",
        missing=True,
        when=lambda given, found: np.isnan(found.highest_limit_share),
        results=("highest_limit_share", "weakest_link", "rating_verdict"),
    ),
    Rule(
        "no-wire",
        "The wire is unknown: give its gauge or the area of its copper.",
        severity="low",
        missing=True,
        when=lambda given, found: np.isnan(found.wire_area),
        results=("wire_area", "wire_current_limit"),
    ),
    Rule(
        "beyond-thickest-gauge",
        "Not even AWG 4/0 carries such a current for long: use several wires beside each other.",
        when=lambda given, found: (
            np.isnan(found.mean_wire_gauge_needed)
            | (np.isnan(found.peak_wire_gauge_needed) & ~np.isnan(given.peak_current))
        ),
        results=("mean_wire_gauge_needed", "peak_wire_gauge_needed"),
        partly="not even AWG 4/0 carries such a current for long",
    ),
)
CAUTIONS: Final[tuple[Caution[Any, Any], ...]] = (
    LITHIUM_FIRE,
    wires.WIRES_BURN,
    Caution(
        "over-on-average",
        "{by_link.name}: the average current is {by_link.mean_limit_share} of the limit. It overheats.",
        severity="high",
        when=lambda given, found: found.by_link.mean_limit_share > 1,
    ),
    Caution(
        "over-at-peak",
        "{by_link.name}: the peak is {by_link.peak_limit_share} of the continuous limit, too much for so long a peak.",
        severity="high",
        when=lambda given, found: (found.by_link.rating_verdict == chain.OVER) & ~(found.by_link.mean_limit_share > 1),
    ),
    Caution(
        "short-peaks-only",
        "{by_link.name}: {by_link.peak_limit_share} of the continuous limit at the peak, for short peaks only. Check "
        "for heat after the flight.",
        when=lambda given, found: found.by_link.rating_verdict == chain.SHORT_PEAKS_ONLY,
    ),
    Caution(
        "discharge-rating-derated",
        "Only {discharge_derating_factor} of the C rating on the label is counted: small packs rarely give what it "
        "promises. Measure sag and temperature; the pack maker's advice takes precedence.",
        severity="low",
        when=lambda given, found: ~np.isnan(given.discharge_rating),
    ),
    Caution(
        "wire-limit-estimated",
        "The current limit of the wire is an estimate for still air, known to a factor of 1.25. Moving air allows "
        "more, a bundle less.",
        severity="low",
        when=_is_wire_estimated,
    ),
    Caution(
        "links-without-rating",
        "Only links with a rating are compared, so another one may be weaker. Give the ratings of pack, wire, "
        "connector and controllers.",
        severity="low",
        missing=True,
        when=_lacks_a_limit,
    ),
    Caution(
        "mean-throttle-assumed",
        "The average current of a motor rests on an average throttle of {mean_throttle}, an estimate: flight-log finds "
        "it in a recording.",
        severity="low",
        when=lambda given, found: _knows("controller_rating", "motor_rating")(given),
        assumed="mean_throttle",
    ),
    wires.GAUGE_BELOW_ONE,
)
