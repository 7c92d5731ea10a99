"""Pack resistance from a recording of voltage and current."""

from typing import Annotated, Final, NamedTuple

import numpy as np

from gramwatt.arrays import Array, IndexArray, Unit
from gramwatt.physics import cells as cell
from gramwatt.physics.recording import CleanRecording, sample_weights

MAX_GROUPS: Final = 5000
MIN_SAMPLES: Final = 20
MIN_RELATIVE_SPREAD: Final = 0.10
"""Standard deviation of the current without its drift, as a share of the mean: below it there is no result."""
MIN_CURRENT_SPREAD: Final[Annotated[float, Unit("A")]] = 0.3
"""The same as a current, for a small mean."""
CORRELATION_TIME: Final[Annotated[float, Unit("s")]] = 10.0
"""Time over which residuals are assumed to depend on each other: cells relax over seconds."""
NOISE_FACTOR: Final = 4.6
"""Variance of white noise over the tenth percentile of its local scatter in `_noise_variance`: found by simulation,
which a test repeats."""
CURVE_UNCERTAINTY: Final = 0.02
"""Relative standard uncertainty for a rested voltage that differs from that of this pack, and for cells that warm up:
an estimate."""


class ResistanceFit(NamedTuple):
    """A fitted resistance; arrays (N,), nan where the recording does not determine it."""

    resistance: Array
    """Resistance of the pack and all between it and the sensor [ohm]."""
    standard_error: Array
    """Standard error of the resistance [ohm]."""
    current_spread: Array
    """Standard deviation of the current without its drift [A]."""


class SampleGroups(NamedTuple):
    """Means over M groups of adjacent samples, which do not depend on any correction; arrays (M,)."""

    time: Array
    current: Array
    voltage: Array
    charge: Array
    """Charge up to the middle of the group, as recorded [A s]."""
    counted: Array
    """Time that counts up to there [s]."""
    noise: float
    """Noise variance of the current sensor [A²]."""
    lags: int
    """Number of groups over which residuals depend on each other."""


def group_samples(recording: CleanRecording, weights: Array | None = None) -> SampleGroups | None:
    """Average adjacent samples of a recording in at most 5,000 groups.

    Parameters
    ----------
    recording : CleanRecording
        K samples.
    weights : (K,), optional
        Its `sample_weights`, if they are already known.

    Returns
    -------
    SampleGroups or None
        None where fewer than 20 samples have both voltage and current.
    """
    if int((np.isfinite(recording.voltage) & np.isfinite(recording.current)).sum()) < MIN_SAMPLES:
        return None
    bounds = np.linspace(0, len(recording.time), min(len(recording.time), MAX_GROUPS) + 1).astype(np.intp)
    weights = sample_weights(recording) if weights is None else weights
    time, current, voltage = (
        np.add.reduceat(values, bounds[:-1]) / np.diff(bounds)
        for values in (recording.time, recording.current, recording.voltage)
    )
    charge, counted = (np.add.reduceat(values, bounds[:-1]) for values in (weights * recording.current, weights))
    charge, counted = (np.cumsum(each) - each / 2 for each in (charge, counted))  # in the middle of each group
    return SampleGroups(time, current, voltage, charge, counted, _noise_variance(current), _lag_count(time))


def fit_resistance(
    recording: CleanRecording | SampleGroups | None,
    *,
    scale: Array,
    offset: Array,
    voltage_scale: Array,
    cells: Array,
    chemistry: IndexArray,
    capacity: Array,
    start_state_of_charge: Array,
) -> ResistanceFit:
    """Fit the resistance by least squares of sag on current, for N sets of sensor corrections of one recording.

    Parameters
    ----------
    recording : CleanRecording or SampleGroups or None
        K samples of voltage and current, or the result of `group_samples`.
    scale, offset, voltage_scale : (N,)
        True current = scale (recorded - offset [A]); true voltage = voltage_scale recorded.
    cells, capacity : (N,)
        Cells in series, and charge of the full pack [A s]; nan where unknown: the rested voltage is then left out, and
        the drift alone represents it.
    chemistry : (N,)
        Indices into `cells.CHEMISTRIES`.
    start_state_of_charge : (N,)
        State of charge at the first sample, 0 to 1.

    Returns
    -------
    ResistanceFit
        The model is ``V - cells OCV(start_state_of_charge - q / capacity) = a + b t - R I`` with the charge q used so
        far: a absorbs an inexact start charge, b an inexact curve and temperature. More than 5,000 samples are averaged
        in as many groups of adjacent samples, for which the model holds too. Nan where there are fewer than 20 samples,
        where the current hardly varies (its standard deviation without drift is below 10 % of the mean or 0.3 A), where
        the slope is not that of a resistance, and where its error is more than half of it.

    Notes
    -----
    The standard error is the Newey-West estimator with Bartlett weights over 10 s, since residuals depend on each
    other. Two relative terms are added in quadrature: 2 % for the curve, and the bias by noise of the current sensor
    (its variance over that of the current; the noise is the smallest local scatter). The result is the resistance for
    loads of about the length of the punch-outs: the ohmic part and most of what relaxes within a second or two.
    """
    groups = group_samples(recording) if isinstance(recording, CleanRecording) else recording
    if groups is None:
        return ResistanceFit(*(np.full(scale.shape, np.nan) for _ in range(3)))
    drift = _orthonormal_drift(groups.time)
    current = groups.current - drift @ (groups.current @ drift)
    spread = float(np.sqrt(current @ current / len(current)))
    noise_share = groups.noise / np.float64(spread) ** 2
    found = np.empty((3, len(scale)))
    for row in range(len(scale)):
        charge = (
            start_state_of_charge[row] - scale[row] * (groups.charge - offset[row] * groups.counted) / capacity[row]
        )
        sag = voltage_scale[row] * groups.voltage - _rested_voltage(int(chemistry[row]), float(cells[row]), charge)
        resistance, error = _fit_slope(scale[row] * current, sag - drift @ (sag @ drift), noise_share, groups.lags)
        min_spread = MIN_RELATIVE_SPREAD * abs(scale[row] * (groups.current.mean() - offset[row]))
        varies = scale[row] * spread > max(min_spread, MIN_CURRENT_SPREAD)
        if not (varies and resistance > 0 and error <= resistance / 2):
            resistance = error = np.nan
        found[:, row] = resistance, error, scale[row] * spread
    return ResistanceFit(*found)


def _orthonormal_drift(time: Array) -> Array:
    """Return an orthonormal constant and line (M, 2) over times (M,): ``x - drift @ (x @ drift)`` has neither."""
    line = time - time.mean()
    return np.column_stack((np.full(len(time), len(time) ** -0.5), line / np.sqrt(line @ line)))


def _rested_voltage(chemistry: int, cell_count: float, charge: Array) -> Array:
    """Return the voltage (M,) [V] of the rested pack at states of charge (M,); 0 where it is unknown."""
    chemistries = np.full(charge.shape, chemistry, dtype=np.intp)
    return np.nan_to_num(cell_count * cell.open_circuit_voltage(chemistries, np.clip(charge, 0.0, 1.0)))


def _noise_variance(current: Array) -> float:
    """Estimate the noise variance [A²] of the sensor from the tenth percentile of the local scatter about lines."""
    second_difference = current[2:] - 2 * current[1:-1] + current[:-2]
    if len(second_difference) < 5:
        return 0.0
    local_variance = np.convolve(second_difference**2, np.full(5, 0.2), "valid") / 6
    return NOISE_FACTOR * float(np.quantile(local_variance, 0.1))


def _lag_count(time: Array) -> int:
    step = (time[-1] - time[0]) / (len(time) - 1)
    return int(min(np.ceil(CORRELATION_TIME / step), len(time) // 4))


def _fit_slope(current: Array, sag: Array, noise_share: float, lags: int) -> tuple[float, float]:
    """Return resistance and standard error from current and sag (M,) without drift.

    ``noise_share`` is the noise variance over that of the current.
    """
    sum_of_squares = current @ current
    resistance = -(current @ sag) / sum_of_squares
    score = current * (sag + resistance * current)
    # Sums over windows of lags + 1 scores, squared, contain each pair as often as its Bartlett weight says.
    running = np.concatenate((np.zeros(lags + 1), np.cumsum(score)))
    running = np.concatenate((running, np.full(lags, running[-1])))
    windows = running[lags + 1 :] - running[: -lags - 1]
    variance = windows @ windows / (lags + 1)
    per_degree_of_freedom = len(score) / max(len(score) - 3, 1)
    by_scatter = max(variance, score @ score) * per_degree_of_freedom / sum_of_squares**2
    return float(resistance), float(np.sqrt(by_scatter + resistance**2 * (CURVE_UNCERTAINTY**2 + noise_share**2)))
