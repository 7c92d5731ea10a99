"""An invented recording of a flight, for trying captions.py: no craft flew it, no sensor measured it.

    python make_flight.py > flight.csv

The 4-cell pack in ../craft/craft.json (1300 mAh, 30 mohm with its leads) flies for 75 seconds, recorded ten times a
second: hovering, three punches of full throttle, some cruising. As real recordings do, it has flaws: a column that
is not needed, a reading that failed, one that came twice, and three seconds in which nothing was recorded.
"""

import itertools
import math
import random

CAPACITY = 1300  # mAh
RESISTANCE = 0.030  # ohm, of the pack with its leads
RESTED = ((0.0, 14.0), (0.1, 14.7), (0.3, 14.9), (0.5, 15.15), (0.7, 15.6), (0.85, 16.2), (1.0, 16.8))
PUNCHES = ((14.0, 2.2), (33.0, 3.0), (55.5, 1.4))  # start and length, seconds


def rested(charge: float) -> float:
    """Volts of the pack at rest, by the share of its charge."""
    for (low, below), (high, above) in itertools.pairwise(RESTED):
        if charge <= high:
            return below + (above - below) * (charge - low) / (high - low)
    return RESTED[-1][1]


def throttle(time: float) -> float:
    """Share of full throttle: take-off, hover with some steering, cruise, punches, landing."""
    if time < 2 or time > 73.5:
        return 0.04
    for start, length in PUNCHES:
        if start <= time < start + length:
            return min(1.0, 0.4 + (time - start) / 0.25)
    cruise = 0.10 if 38 < time < 52 else 0.0
    return 0.34 + cruise + 0.03 * math.sin(1.7 * time) + 0.02 * math.sin(5.3 * time)


def main() -> None:
    """Write the recording as CSV."""
    chance = random.Random(4)  # noqa: S311 - no secret
    left = 0.98 * CAPACITY  # mAh
    print("time [ms],voltage [V],current [A],throttle [%],satellites")
    for step in range(750):
        time = step / 10
        share = throttle(time)
        wanted = 0.4 + 46 * share**1.9
        volts = rested(left / CAPACITY) - wanted * RESISTANCE
        left -= wanted * 0.1 / 3.6
        if 60.0 < time < 63.0:
            continue
        amps = "" if step == 222 else f"{wanted + chance.gauss(0, 0.15):.2f}"
        line = f"{step * 100},{volts + chance.gauss(0, 0.012):.2f},{amps},{100 * share:.0f},{14 + step % 3}"
        print(line)
        if step == 300:
            print(line)


if __name__ == "__main__":
    main()
