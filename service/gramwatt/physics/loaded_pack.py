"""The resistance of a pack from its own series of voltage and current."""

from typing import Annotated, Final, NamedTuple

import numpy as np

from gramwatt.arrays import Array, IndexArray, Unit
from gramwatt.physics import cells as cell
from gramwatt.physics.recording import CleanRecording, weights

MOST_GROUPS: Final = 5000
FEWEST: Final = 20
STEADY: Final = 0.10
"""Standard deviation of the current, drift taken off, as a share of its mean: below it nothing is told."""
STEADY_CURRENT: Final[Annotated[float, Unit("A")]] = 0.3
"""The same as a current, where the mean is small."""
MEMORY: Final[Annotated[float, Unit("s")]] = 10.0
"""Time over which residuals are taken to depend on each other: cells relax over seconds."""
NOISE_OVER_LEAST: Final = 4.6
"""Variance of white noise over the tenth percentile of its scatter as `_least_scatter` takes it: found by simulation; a
test repeats it."""
CURVE: Final = 0.02
"""Relative standard uncertainty for a rested voltage that is not exactly this pack's, and for cells that warm up: a
judgement."""


class ResistanceFit(NamedTuple):
    """Arrays (N,), nan where the series does not tell the resistance."""

    resistance: Array
    """Of the pack with what lies between it and the sensor [ohm]."""
    standard_error: Array
    """[ohm]"""
    current_spread: Array
    """Standard deviation of the current, drift taken off [A]."""


class Groups(NamedTuple):
    """Means of M groups of neighbours in a course, arrays (M,), what does not depend on any correction."""

    time: Array
    current: Array
    voltage: Array
    charge: Array
    """Running, as recorded [A s]."""
    counted: Array
    """Running time that counts [s]."""
    noise: float
    """Variance of the current sensor's noise [A^2]."""
    lags: int


def grouped(course: CleanRecording, w: Array | None = None) -> Groups | None:
    """The groups of a course; None where fewer than 20 samples have both voltage and current. ``w`` are the `weights`
    where they are at hand."""
    if int((np.isfinite(course.voltage) & np.isfinite(course.current)).sum()) < FEWEST:
        return None
    bounds = np.linspace(0, len(course.time), min(len(course.time), MOST_GROUPS) + 1).astype(np.intp)
    w = weights(course) if w is None else w
    time, current, voltage = (
        np.add.reduceat(values, bounds[:-1]) / np.diff(bounds)
        for values in (course.time, course.current, course.voltage)
    )
    charge, counted = (np.add.reduceat(values, bounds[:-1]) for values in (w * course.current, w))
    charge, counted = (np.cumsum(each) - each / 2 for each in (charge, counted))  # in the middle of each group
    return Groups(time, current, voltage, charge, counted, _least_scatter(current), _lags(time))


def fit_resistance(
    course: CleanRecording | Groups | None,
    *,
    scale: Array,
    offset: Array,
    voltage_scale: Array,
    cells: Array,
    chemistry: IndexArray,
    capacity: Array,
    start: Array,
) -> ResistanceFit:
    """Resistance by least squares of sag on current, for N sets of corrections of one course.

    Parameters
    ----------
    course : K samples of voltage and current, or what `grouped` made of them
    scale, offset, voltage_scale : (N,) true current = scale (recorded - offset [A]); true voltage likewise
    cells, capacity : (N,) in series, and charge of the full pack [A s]; nan where not known: the rested voltage is
        then left out, and the drift alone stands for it
    chemistry : (N,) positions in `cells.CHEMISTRIES`
    start : (N,) state of charge at the first sample, 0 to 1

    Returns
    -------
    `ResistanceFit`. The model is ``V - cells OCV(start - q / capacity) = a + b t - R I``, q the charge used so far: a
    takes up a start charge that is not quite so, b a curve and a temperature that are not. Of more than 5,000 samples
    as many groups of neighbours are averaged, in which the model holds as well. The standard error is that of Newey &
    West (1987, Bartlett weights) over 10 s, since residuals depend on each other; with it, in squares, 2 % for the
    curve, and what noise of the current sensor takes off the slope (its variance over the current's, noise taken as
    the least local scatter). Nan where there are fewer than 20 samples, the current hardly varies (its standard
    deviation, drift taken off, is below 10 % of the mean or 0.3 A), the slope is not that of a resistance, or its
    error is more than half of it.

    Notes
    -----
    What is recovered is the resistance for loads of about the length of the punches: the ohmic part and most of what
    relaxes in less than a second or two.
    """
    groups = grouped(course) if isinstance(course, CleanRecording) else course
    if groups is None:
        return ResistanceFit(*(np.full(scale.shape, np.nan) for _ in range(3)))
    drift = _orthonormal_drift(groups.time)
    current = groups.current - drift @ (groups.current @ drift)
    spread = float(np.sqrt(current @ current / len(current)))
    noise_share = groups.noise / np.float64(spread) ** 2
    found = np.empty((3, len(scale)))
    for row in range(len(scale)):
        left = start[row] - scale[row] * (groups.charge - offset[row] * groups.counted) / capacity[row]
        sag = voltage_scale[row] * groups.voltage - _rested(int(chemistry[row]), float(cells[row]), left)
        resistance, error = _fit(scale[row] * current, sag - drift @ (sag @ drift), noise_share, groups.lags)
        steady = STEADY * abs(scale[row] * (groups.current.mean() - offset[row]))
        if not (scale[row] * spread > max(steady, STEADY_CURRENT) and resistance > 0 and error <= resistance / 2):
            resistance = error = np.nan
        found[:, row] = resistance, error, scale[row] * spread
    return ResistanceFit(*found)


def _orthonormal_drift(time: Array) -> Array:
    """A constant and a straight line (M, 2) over times (M,), orthonormal: ``x - drift @ (x @ drift)`` has neither."""
    line = time - time.mean()
    return np.column_stack((np.full(len(time), len(time) ** -0.5), line / np.sqrt(line @ line)))


def _rested(chemistry: int, count: float, charge: Array) -> Array:
    """Voltage (M,) of the rested pack at states of charge (M,); 0 where it is not known."""
    codes = np.full(charge.shape, chemistry, dtype=np.intp)
    return np.nan_to_num(count * cell.open_circuit_voltage(codes, np.clip(charge, 0.0, 1.0)))


def _least_scatter(current: Array) -> float:
    """Variance of the sensor's noise: the tenth percentile of that among five neighbours, straight lines taken off."""
    second = current[2:] - 2 * current[1:-1] + current[:-2]
    if len(second) < 5:
        return 0.0
    local = np.convolve(second**2, np.full(5, 0.2), "valid") / 6
    return NOISE_OVER_LEAST * float(np.quantile(local, 0.1))


def _lags(time: Array) -> int:
    step = (time[-1] - time[0]) / (len(time) - 1)
    return int(min(np.ceil(MEMORY / step), len(time) // 4))


def _fit(current: Array, sag: Array, noise_share: float, lags: int) -> tuple[float, float]:
    """Resistance and standard error, of current and sag (M,) without drift; the noise as a share of the variance."""
    squares = current @ current
    resistance = -(current @ sag) / squares
    score = current * (sag + resistance * current)
    # Bartlett's weights are those of windows of lags + 1 scores: their sums squared hold each pair that often.
    running = np.concatenate((np.zeros(lags + 1), np.cumsum(score)))
    running = np.concatenate((running, np.full(lags, running[-1])))
    windows = running[lags + 1 :] - running[: -lags - 1]
    variance = windows @ windows / (lags + 1)
    free = len(score) / max(len(score) - 3, 1)
    by_scatter = max(variance, score @ score) * free / squares**2
    return float(resistance), float(np.sqrt(by_scatter + resistance**2 * (CURVE**2 + noise_share**2)))
