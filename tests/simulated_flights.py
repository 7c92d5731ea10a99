"""Flights that nobody flew: a rested curve behind a resistance, with the noise and the flaws of a recorder."""

from __future__ import annotations

import numpy as np

from gramwatt.physics import cells
from gramwatt.physics.recording import CleanRecording

CAPACITY = 1.3 * 3600
FINE = 100  # steps a second of the simulation


def flown(
    seed: int,
    *,
    resistance: float = 0.05,
    hertz: float = 10,
    seconds: float = 200,
    volts: float = 0.02,
    amps: float = 0.2,
    start: float = 1.0,
    size: float = 1.0,
    chemistry: int = 0,
    relaxing: tuple[float, float] = (0.0, 1.0),
) -> CleanRecording:
    """Invent a flight on four cells: hover, some punches, readings in steps of 10 mV and 10 mA at uneven times.

    ``volts``, ``amps``: noise. ``relaxing``: a further resistance [ohm] that builds up with a time constant [s].
    """
    chance = np.random.default_rng(seed)
    time = np.arange(int(seconds * FINE)) / FINE
    throttle = 0.3 + 0.08 * np.sin(0.7 * time + chance.uniform(0, 6)) + 0.05 * np.sin(2.3 * time)
    for _ in range(chance.integers(4, 9)):
        begins = chance.uniform(5, seconds - 5)
        throttle[(time > begins) & (time < begins + chance.uniform(0.5, 3))] = 0.9
    current = size * 45 * throttle**1.8
    left = np.clip(start - np.cumsum(current) / FINE / CAPACITY, 0, 1)
    voltage = 4 * cells.open_circuit_voltage(np.full(len(time), chemistry), left) - resistance * current
    slow, constant = relaxing
    if slow:
        keep = np.exp(-1 / FINE / constant)
        built = 0.0
        for at, amperes in enumerate(current):
            built = keep * built + (1 - keep) * slow * amperes
            voltage[at] -= built
    steps = np.cumsum(chance.uniform(0.5, 1.5, int(seconds * hertz)) * FINE / hertz).astype(np.intp)
    read = np.unique(steps[steps < len(time)])
    lacking = np.full(len(read), np.nan)
    read_volts = np.round(voltage[read] + chance.normal(0, volts, len(read)), 2)
    read_amps = np.round(current[read] + chance.normal(0, amps, len(read)), 2)
    return CleanRecording(time[read], read_volts, read_amps, lacking, lacking, np.ones(len(read) - 1, dtype=np.bool_))
