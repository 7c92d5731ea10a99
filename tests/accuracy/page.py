"""The page on accuracy, section by section, from open data and golden numbers."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from accuracy import atmosphere, bench, discharge, flights, hovering, masses, propellers
from accuracy.errors import Errors
from gramwatt.engine import registry

EXACT: Final = 1e-11
"""Percent below which nothing is left but the last bits."""


def percent(value: float, *, signed: bool = True) -> str:
    """Return a share as a pilot reads it: two digits, whole percent from ten up."""
    shown = abs(value) * 100
    if shown < EXACT:
        return "none"
    if shown < 0.001:
        return "under 0.001 %"
    digits = max(0, 1 - math.floor(math.log10(shown)))
    text = f"{shown:.{0 if shown >= 9.95 else digits}f} %"
    return f"{'+' if value > 0 else '-'}{text}" if signed else text


@dataclass(frozen=True, slots=True)
class Row:
    """One comparison."""

    what: str
    against: str
    errors: Errors
    remark: str = ""

    def __str__(self) -> str:
        found = self.errors
        if found.count == 1:
            mean, typical = "-", "-"
        else:
            mean, typical = percent(found.bias), percent(found.rms, signed=False)
        cells = (self.what, self.against, str(found.count), mean, typical, percent(found.worst), self.remark)
        return "| " + " | ".join(cells) + " |"


@dataclass(frozen=True, slots=True)
class Section:
    """What belongs together: the calculators concerned, comparisons, and where they do not hold."""

    title: str
    calculators: tuple[str, ...]
    rows: tuple[Row, ...]
    weak: tuple[str, ...]

    def __str__(self) -> str:
        lines = [f"## {self.title}", "", "For " + ", ".join(f"`{name}`" for name in self.calculators) + ".", ""]
        lines += ["| What | Against | Cases | Mean | Typical | Worst | |", "|---|---|---|---|---|---|---|"]
        lines += [*map(str, self.rows), "", *(f"- {text}" for text in self.weak)]
        return "\n".join(lines)


def flying_time(folder: Path) -> Section:
    """Packs and endurance."""
    gap = np.abs(discharge.curves(folder)).max() * 1e3
    energies = discharge.activation_energies()
    return Section(
        "Packs and flying time",
        ("endurance", "pack-current", "endurance-from-flight", "build"),
        (
            Row(
                "Time at constant power",
                "PyBaMM 26.10.1.1, equivalent circuit with the same curve and resistance",
                discharge.same_circuit(),
                "the sums are right",
            ),
            Row(
                "Time at constant power, a power cell",
                "PyBaMM, full electrochemical cell (Ecker2015), in half an hour and in one",
                discharge.whole_cells(power_cell=True),
                "resistance known",
            ),
            Row(
                "Time at constant power, energy cells",
                "the same (Marquis2019, Ai2020, Chen2020), in one hour",
                discharge.whole_cells(power_cell=False),
                "resistance known",
            ),
            Row(
                "Resistance at 0 and 40 °C from that at 25 °C",
                "PyBaMM, four cells, each with its own activation energy",
                discharge.resistance_by_temperature(),
            ),
        ),
        (
            "Rested voltages are the tables of three simulated cells (Ai2020, Chen2020, Prada2013), within "
            f"{max(gap, 0.1):.1f} mV. A cell of another make differs by tens of millivolts. LiHV is an extrapolation; "
            "the lowest fifth of LiFePO4 reads up to 0.2 V low.",
            "**Weak: nobody has compared a flying time with a flight.** Cells here are simulated, their resistance "
            "known. The time is always a little long. Above some 3 C it is far too long for energy cells.",
            "**Weak: resistance that was not measured.** The default is a judgement; small packs with their leads "
            "measure three to six times as much.",
            f"In the cold: activation energies of four cells run from {energies[0]:.0f} to {energies[-1]:.0f} kJ/mol "
            "against a default of 20.",
        ),
    )


def air(_: Path) -> Section:
    """Return the atmosphere."""
    return Section(
        "Air",
        ("air-density",),
        (
            Row(
                "Standard atmosphere: density, temperature, pressure",
                "ISO 2533:1975, -500 to 5000 m",
                atmosphere.standard(),
            ),
            Row("Speed of sound, dry", "the same table", atmosphere.sound()),
            Row("Density of moist air", "CIPM-2007, 10 to 45 °C, 600 to 1040 hPa, any humidity", atmosphere.weather()),
            Row("The same further out", "CIPM-2007, 0 to 50 °C, up to 1100 hPa", atmosphere.extremes()),
        ),
        (
            "From elevation alone it is the standard day: weather moves density by several percent. Give temperature "
            "and pressure.",
            "Speed of sound in hot, wet air comes out 0.1 % high.",
        ),
    )


def hover(folder: Path) -> Section:
    """Power in hover."""
    flights, covered = hovering.large_craft(folder), hovering.large_craft_covered(folder)
    benches, inside = hovering.benches(folder)
    tiny = hovering.estimate(**hovering.LIGHT_CRAFT)
    return Section(
        "Power to hover",
        ("hover-power",),
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
            "that is estimated; the answer warns. Above that the worst is a motor of high no-load current, turning "
            "slowly: twice the estimate.",
            "One measured hover replaces the guess and mends all of this. Forward flight is without drag, and not "
            "compared with any flight.",
        ),
    )


def throttle(folder: Path) -> Section:
    """Motors and propellers at full throttle."""
    database, rows, held = propellers.load(folder), bench.load(folder), bench.held_out(folder)
    full, kept = rows.at_full_throttle, rows.at_full_throttle & rows.supply_held
    everything, steady = bench.catalogue(rows.where(full)), bench.catalogue(rows.where(kept))
    unseen = "".join(name for name in bench.RATED_KV if name not in bench.CHOSEN_ON)
    others = bench.catalogue(rows.where(full & rows.of_motors(unseen)))
    five = database.errors(database.five_inch)

    def pair(what: str, against: str, found: bench.Catalogue) -> tuple[Row, Row]:
        return (
            Row(f"Thrust, {what}", against, found.thrust, f"{100 * found.thrust_covered:.0f} % in the stated range"),
            Row(f"Current, {what}", against, found.current, f"{100 * found.current_covered:.0f} % in the stated range"),
        )

    return Section(
        "Full throttle",
        ("full-throttle", "build"),
        (
            Row(
                "Thrust coefficient by size, pitch, blades",
                "UIUC Propeller Database, 2 to 9 in, in range",
                database.errors(database.fitted),
                "the fit's own data",
            ),
            Row(
                "The same, five-inch propellers",
                "UIUC Propeller Database",
                five,
                f"{five.within(0.2)} of {five.count} within 20 %",
            ),
            Row("The same, five-inch racing propellers", "the benches below", propellers.of_the_bench(folder)),
            *pair("from catalogue data alone", "open benches, supply at its setting", steady),
            *pair("from catalogue data alone", "all full-throttle points, at the volts measured", everything),
            *pair(
                "from catalogue data alone",
                "the same, four motors whose resistance and current were not used for the defaults",
                others,
            ),
            Row("Power at a known speed, constants fitted", "bench runs not fitted to", held.power),
            Row("Thrust at a known speed, constants fitted", "bench runs not fitted to", held.thrust),
            Row("Full-throttle current, constants fitted", "bench runs not fitted to", held.full_current),
            Row("Full-throttle thrust, constants fitted", "bench runs not fitted to", held.full_thrust),
        ),
        (
            "Benches: nine motors, eight five-inch propellers, 7.4 and 11.1 V (StrawsonDesign/motor_propeller_testing, "
            "MIT). Two of the 144 runs contradict the rest and are left out. The supply gave 11 A at most: points at "
            "its setting are those of the weaker motors, whose current is overestimated; over all points that of the "
            "two strongest is underestimated by about a quarter.",
            "Fitted: constants from half of the pairs of motor and propeller, each pair predicted from the other half, "
            "from 5000 rpm up.",
            "**Not independent:** the figure of merit was raised from 0.60 to 0.62 after the errors of all nine motors "
            "had been seen; with 0.60 the mean error of current at the supply's setting was +10.02 %. Resistance, kV "
            "deficit and no-load current were chosen on five of the motors.",
            "**Weak: catalogue data alone.** Current is off by 15 % as a rule and by a third at worst. Nothing above "
            "11.1 V and 11 A was measured: a 6-cell craft at full throttle is an extrapolation.",
            "**Weak: the pack.** Here the volts at the controller are known. From a pack whose resistance was not "
            "measured, full-throttle current is less sure than any row above.",
            "At rest only. Propellers beyond 2 to 9 in, and motors of other sizes, are guesses.",
        ),
    )


def mass(_: Path) -> Section:
    """Masses and units."""
    return Section(
        "Mass and units",
        ("mass-margin",),
        (Row("Pounds, ounces, inches, feet, kgf, mph, Wh", "NIST SP 811, exact factors", masses.conversions()),),
        ("Sums are exact. What counts is the scale: its display is in the answer, a scale that reads wrong is not.",),
    )


def recorded(folder: Path) -> Section:
    """Return recorded flights."""
    plain, inside = flights.resistance()
    slow, _ = flights.resistance((0.02, 3.0))
    return Section(
        "Recorded flights",
        ("flight-log", "flight-comparison", "overlay-cues", "power-fit"),
        (
            Row(
                "Energy over time, by phase of flight",
                "the means of the measured power of three flights (Rodrigues et al. 2021)",
                flights.mean_power(folder),
                "the ends of a phase count half",
            ),
            Row(
                "Resistance of a pack",
                "invented flights on 50 mohm, with noise",
                plain,
                f"{inside:.0%} within two standard errors",
            ),
            Row(
                "The same",
                "invented flights on 50 mohm and 20 more that build up in 3 s",
                slow,
                "punches of a second or two see a part of it",
            ),
        ),
        (
            "The sums are right; what a craft's sensors record is not known to be. A current sensor that nobody "
            "calibrated is taken to be right within 5 %, a judgement.",
            "**Weak: resistance was found again on invented packs only**, not on one that was measured otherwise.",
            "Captions are right to the frame by arithmetic, by three other programs that read them, and by ffmpeg.",
        ),
    )


SECTIONS: Final = (flying_time, air, hover, throttle, mass, recorded)


def page(folder: Path) -> str:
    """Return the page, in Markdown."""
    return "\n\n".join(_parts(folder)) + "\n"


def _parts(folder: Path) -> Iterator[str]:
    yield "# How far off is it?"
    yield (
        "Made by `python tests/accuracy/report.py --write` from open data and from figures of other programs; a test "
        "works it out again. An error is calculated over known, less one: + is too much. *Mean* is the error that "
        "stays when many are averaged, *typical* the root mean square, *worst* the farthest off."
    )
    named = set()
    for make in SECTIONS:
        section = make(folder)
        named |= set(section.calculators)
        yield str(section)
    rest = ", ".join(f"`{name}`" for name in registry.load() if name not in named)
    yield "## Checked by hand only"
    yield (
        f"{rest}: tested against sums done by hand, definitions and laws, not against anything measured. They rest on "
        "the parts above."
    )
