"""Normal probability, Student's t, and the uncertainty of a digital reading."""

from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from gramwatt.physics.statistics import normal_probability, reading_uncertainty, student_t


def below(deviations: float) -> float:
    return float(normal_probability(np.array([deviations]))[0])


@pytest.mark.parametrize(
    ("deviations", "expected"),
    [
        # Golden: scipy 1.17, stats.norm.cdf, less 0.5.
        pytest.param(0.0, 0.50000, id="row-0.0-the-median"),
        pytest.param(0.5, 0.5 + 0.19146, id="row-0.5-column-0.00"),
        pytest.param(1.0, 0.5 + 0.34134, id="row-1.0-column-0.00"),
        pytest.param(1.96, 0.5 + 0.47500, id="row-1.9-column-0.06"),
        pytest.param(2.0, 0.5 + 0.47725, id="row-2.0-column-0.00"),
        pytest.param(3.0, 0.5 + 0.49865, id="row-3.0-column-0.00"),
    ],
)
def test_areas(deviations: float, expected: float) -> None:
    """Five printed decimals: half a unit of the last."""
    assert below(deviations) == pytest.approx(expected, abs=0.5e-5, rel=0)


@pytest.mark.parametrize(
    ("coverage", "level"),
    [
        # Golden: scipy 1.17, 1 - 2 stats.norm.sf(k).
        pytest.param(1.0, 0.6827, id="one-standard-deviation"),
        pytest.param(2.0, 0.9545, id="the-k-of-the-margin"),
        pytest.param(3.0, 0.9973, id="three"),
    ],
)
def test_levels_of_confidence(coverage: float, level: float) -> None:
    assert below(coverage) - below(-coverage) == pytest.approx(level, abs=0.5e-4, rel=0)


@given(st.floats(-8.0, 8.0))
def test_against_the_standard_library(deviations: float) -> None:
    assert below(deviations) == pytest.approx(NormalDist().cdf(deviations), rel=1e-9, abs=1e-15)


@given(st.floats(-30.0, 30.0), st.floats(0.0, 5.0))
def test_rises_and_is_symmetric(deviations: float, more: float) -> None:
    assert below(deviations) <= below(deviations + more)
    assert below(deviations) + below(-deviations) == pytest.approx(1.0, rel=1e-12)


def test_limits() -> None:
    """Certain at infinity; far below the mean it is small but not yet nothing, where 1 - erf would have cancelled."""
    assert normal_probability(np.array([-np.inf, np.inf])).tolist() == [0.0, 1.0]
    assert np.isnan(below(np.nan))
    # Golden: scipy 1.17, -stats.norm.logsf(10) / ln(10) = 23.118053.
    assert -np.log10(below(-10.0)) == pytest.approx(23.11805, abs=0.5e-5, rel=0)


def test_reading_of_a_display() -> None:
    """By hand: u = d/sqrt(12) = 0.29 d, whose square is the variance d^2/12 of an even spread of width d."""
    found = reading_uncertainty(np.array([0.0, 1.0, 0.1]))
    assert found[0] == 0.0
    assert found[1] == pytest.approx(0.29, abs=0.005, rel=0)
    assert found[1] ** 2 == pytest.approx(1 / 12, rel=1e-12)
    assert found[2] == pytest.approx(found[1] / 10, rel=1e-12)


@pytest.mark.parametrize("degrees", [1, 2, 3, 4, 5, 10, 31, 200, 203])
def test_student_t_against_scipy(degrees: int) -> None:
    """SciPy's distribution functions, to 1e-9 within five standard deviations; odd, and 0 in the middle."""
    deviations = np.linspace(-5, 5, 41)
    found = student_t(deviations, np.full(41, float(degrees)))
    expected = np.sign(deviations) * stats.t.isf(stats.norm.sf(np.abs(deviations)), degrees)
    np.testing.assert_allclose(found, expected, rtol=1e-9, atol=0)
    assert found[20] == 0


def test_student_t_of_the_table() -> None:
    """Published: JCGM 100:2008, table G.2, t that covers 95.45 % (k = 2), two printed decimals; and its limit, the
    normal distribution.
    """
    degrees = np.array([1.0, 2.0, 3.0, 4.0, 10.0, 50.0])
    np.testing.assert_allclose(
        student_t(np.full(6, 2.0), degrees), [13.97, 4.53, 3.31, 2.87, 2.28, 2.05], rtol=0, atol=0.005
    )
    assert student_t(np.array([2.0]), np.array([1e4]))[0] == pytest.approx(2, rel=2e-4)


def test_student_t_keeps_shapes_and_rows_apart() -> None:
    """Degrees of freedom broadcast; each number is the one it would be alone."""
    degrees = np.array([3.0, 7.0, 3.0])
    found = student_t(np.array([[0.5], [-1.5]]), degrees)
    assert found.shape == (2, 3)
    np.testing.assert_array_equal(found[:, 0], found[:, 2])
    np.testing.assert_array_equal(found[1, 1:2], student_t(np.array([-1.5]), degrees[1:2]))
