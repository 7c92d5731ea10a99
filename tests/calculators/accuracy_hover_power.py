"""Hover power against flights and bench runs."""

from pathlib import Path

from accuracy import hovering
from accuracy.page import Row, Section


def accuracy(folder: Path) -> Section:
    """Return the section of this calculator."""
    flights, covered = hovering.large_craft(folder), hovering.large_craft_covered(folder)
    benches, inside = hovering.benches(folder)
    tiny = hovering.estimate(**hovering.LIGHT_CRAFT)
    return Section(
        "Power to hover",
        (
            *(
                Row(
                    f"Power of a {grams / 1000} kg craft, efficiency not known",
                    "mean cruise power of 68 flights at 3.7 to 4.2 kg (Rodrigues et al. 2021)",
                    error,
                    f"{100 * covered:.0f} % of flights in the stated range",
                )
                for grams, error in zip(hovering.LARGE_MASSES, flights, strict=True)
            ),
            Row(
                "Power of a 27 g craft, nothing known",
                "an open firmware's documentation: 7.38 W",
                hovering.light_craft(),
                f"stated range {tiny.low:.0f} to {tiny.high:.0f} W",
            ),
            Row(
                "Power of one five-inch rotor, from 40 gf up",
                "open bench runs of nine motors with eight propellers",
                benches,
                f"{100 * inside:.0f} % in the stated range",
            ),
        ),
        (
            "The usual efficiency was drawn from these benches and these large craft: the rows show its scatter, they "
            "do not prove it. The large craft's cruise stands for its hover, which was not reported. The 27 g craft "
            "shows what a guess is worth, mostly for the 5 W assumed for avionics.",
            "**Weak: lightly loaded propellers** (under 40 gf on five inches) take one to nearly three times the power "
            "that is estimated; a caution says so. Above that the worst is a motor of high no-load current, turning "
            "slowly: twice the estimate.",
            "One measured hover replaces the estimate and fixes all of this. Forward flight is without drag, and not "
            "compared with any flight.",
        ),
    )
