"""Thrust and current at full throttle against bench runs."""

from pathlib import Path

from accuracy import bench, propellers
from accuracy.page import Row, Section


def accuracy(folder: Path) -> Section:
    """Return the section of this calculator."""
    database, rows, held = propellers.load(folder), bench.load(folder), bench.held_out(folder)
    full, steady_full = rows.at_full_throttle, rows.at_full_throttle & rows.supply_held
    everything, steady = bench.catalogue(rows.where(full)), bench.catalogue(rows.where(steady_full))
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
