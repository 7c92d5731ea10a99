"""Thrust and current at full throttle against bench runs."""

from pathlib import Path

from accuracy import bench, propellers
from accuracy.page import Row, Section


def accuracy(folder: Path) -> Section:
    """Return the section of this calculator."""
    database, held = propellers.load(folder), bench.held_out(folder)
    alone = bench.catalogue(folder)
    points = (
        ("one bench point", bench.from_one_point(folder, *bench.READINGS)),
        ("one bench point without its speed", bench.from_one_point(folder, *bench.READINGS[:3])),
        ("volts and amps of one bench point", bench.from_one_point(folder, *bench.READINGS[:2])),
    )
    rows = alone[0]
    motors = "".join(bench.RATED_KV)
    weak, unseen = (
        "".join(name for name in motors if name not in others) for others in (bench.STRONG, bench.CHOSEN_ON)
    )
    five = database.errors(database.five_inch)

    def pair(how: str, against: str, found: bench.Responses, names: str) -> tuple[Row, Row]:
        errors = bench.compare(found, rows.of_motors(names))
        return (
            Row(f"Thrust, {how}", against, errors.thrust, f"{100 * errors.thrust_covered:.0f} % in the stated range"),
            Row(
                f"Current, {how}", against, errors.current, f"{100 * errors.current_covered:.0f} % in the stated range"
            ),
        )

    groups = (
        (f"strong motors ({', '.join(bench.STRONG)})", bench.STRONG),
        (f"weak motors ({', '.join(weak)})", weak),
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
            *pair("from catalogue data alone", "open benches, all motors", alone, motors),
            *pair(
                "from catalogue data alone",
                f"motors in view when constants were chosen ({', '.join(bench.CHOSEN_ON)})",
                alone,
                bench.CHOSEN_ON,
            ),
            *pair("from catalogue data alone", f"motors that check them ({', '.join(unseen)})", alone, unseen),
            *(row for text, names in groups for row in pair("from catalogue data alone", text, alone, names)),
            *(row for name in motors for row in pair("from catalogue data alone", f"motor {name}", alone, name)),
            *(
                row
                for what, found in points
                for text, names in groups
                for row in pair(f"from {what}", text, found, names)
            ),
            Row("Power at a known speed, constants fitted", "bench runs not fitted to", held.power),
            Row("Thrust at a known speed, constants fitted", "bench runs not fitted to", held.thrust),
            Row("Full-throttle current, constants fitted", "bench runs not fitted to", held.full_current),
            Row("Full-throttle thrust, constants fitted", "bench runs not fitted to", held.full_thrust),
        ),
        (
            "Benches: nine motors, eight five-inch propellers, 7.4 and 11.1 V (StrawsonDesign/motor_propeller_testing, "
            "MIT), every point at full throttle, at the volts measured at the controller. Two of the 144 runs "
            "contradict the rest and are left out. The supply gave 11 A at most.",
            "From one bench point: voltage, current, speed and thrust with one supply predict the other supply, 7.4 "
            "from 11.1 V and the reverse. Without its speed, that follows from thrust and the default thrust "
            "coefficient. Volts and amps alone leave the propeller to its default.",
            "Fitted: constants from half of the pairs of motor and propeller, each pair predicted from the other half, "
            "from 5000 rpm up.",
            "**In view:** the 200 mΩ, the kV deficit and the 5 % for the change of coefficients with speed were chosen "
            "on a, c, e, g, i; the errors of b, d, f, h were seen before they were settled, and changed nothing. The "
            "law of the no-load current had all nine in view; a, c, e, g, i alone give 594 rpm instead of 587. The "
            "figure of merit of 0.60 lies between these propellers (0.62) and those with three blades or more in the "
            "database (0.57); 0.62 would lower the currents here by 2 %.",
            "**Weak: catalogue data alone.** kV and propeller do not show whether a motor is strong or weak: the "
            "current of strong ones comes out a seventh low, of weak ones a fifth high. The stated range is that wide. "
            "Nothing above 11.1 V and 11 A was measured: a 6-cell craft at full throttle is an extrapolation.",
            "**Weak: the size of the stator.** These benches do not state it, so that its law is not checked here.",
            "**Weak: the pack.** Here the volts at the controller are known. From a pack whose resistance was not "
            "measured, full-throttle current is less sure than any row above.",
            "At rest only. Propellers beyond 2 to 9 in, and motors for propellers beyond 4 to 6 in, are guesses.",
        ),
    )
