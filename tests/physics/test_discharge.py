"""Discharge of a cell at constant power: other models, closed forms, limits and scaling laws."""

import itertools
import json
import math
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import integrate, optimize

from gramwatt.model import Array
from gramwatt.physics import cells, pack
from gramwatt.physics.average_power import find_average_power

GOLDEN: Final[dict[str, Any]] = json.loads(
    (Path(__file__).parents[1] / "golden" / "pybamm.json").read_text(encoding="utf-8")
)
RESERVE, CUT_OFF, POWER_LIMIT = (pack.ENDED_BY.index(word) for word in ("reserve", "cut-off", "power-limit"))


def one(value: float) -> Array:
    """Return a column of one."""
    return np.array([value])


def discharge(
    nodes: list[float],
    *,
    power: float,
    resistance: float,
    capacity: float = 3600.0,
    start_state_of_charge: float = 1.0,
    reserve: float = 0.0,
    cutoff_voltage: float = 1.0,
) -> pack.Discharge:
    """One cell's discharge; as in the service, floating-point errors of pieces that are not used stay silent."""
    with np.errstate(all="ignore"):
        return pack.constant_power_discharge(
            np.array([nodes]),
            power=one(power),
            resistance=one(resistance),
            capacity=one(capacity),
            start_state_of_charge=one(start_state_of_charge),
            reserve=one(reserve),
            cutoff_voltage=one(cutoff_voltage),
        )


@pytest.mark.parametrize("case", GOLDEN["thevenin"], ids=lambda case: case["id"])
def test_duration_agrees_with_an_equivalent_circuit(case: dict[str, Any]) -> None:
    """Golden (PyBaMM 26.10.1.1, equivalent_circuit.Thevenin, same curve and resistance, time stepping).

    The project's bound is 3e-3; the closed form has no step of its own and must meet 5e-4.
    """
    flight = discharge(
        case["ocv_v"],
        power=case["power_w"],
        resistance=case["resistance_ohm"],
        capacity=case["capacity_ah"] * 3600,
        start_state_of_charge=case["start_charge"],
        cutoff_voltage=case["cutoff_v"],
    )
    assert flight.duration[0] == pytest.approx(case["seconds"], rel=5e-4)
    assert flight.end_state_of_charge[0] == pytest.approx(case["end_charge"], abs=5e-4)
    assert flight.end_voltage[0] == pytest.approx(case["cutoff_v"], rel=1e-12)
    assert flight.ended_by[0] == CUT_OFF


@pytest.mark.parametrize(
    "case", [case for case in GOLDEN["dfn"] if case["cutoff_kind"] == "practical"], ids=lambda case: case["id"]
)
def test_duration_is_a_little_longer_than_a_full_cell_model_gives(case: dict[str, Any]) -> None:
    """Golden (PyBaMM 26.10.1.1, lithium_ion.DFN, practical cut-offs), with the cell's own 30 s pulse resistance at 3 C.

    One constant resistance knows no diffusion, so ours is long, never short: by less than 3 % for the power cell
    (Ecker2015) and less than 7 % for the energy cells at one hour's rate.
    """
    flight = discharge(
        case["ocv_v"],
        power=case["power_w"],
        resistance=case["resistance_3c_ohm"],
        capacity=case["capacity_ah"] * 3600,
        cutoff_voltage=case["cutoff_v"],
    )
    excess = flight.duration[0] / case["seconds"] - 1
    assert 0 < excess < (0.03 if case["parameter_set"] == "Ecker2015" else 0.07)


def test_duration_by_hand_without_resistance() -> None:
    """By hand: V = 3 + q, so the energy of 1 Ah is the mean 3.5 V times 1 Ah = 3.5 Wh; at 3.5 W that is an hour."""
    flight = discharge([3.0, 4.0], power=3.5, resistance=0.0)
    assert flight.duration[0] == pytest.approx(3600.0, rel=1e-12)
    assert (flight.end_state_of_charge[0], flight.end_voltage[0], flight.ended_by[0]) == (0.0, 3.0, RESERVE)


def test_duration_by_hand_with_resistance() -> None:
    """By hand: V = 3 + 2q from 5 down to 4 V, P = 3 W, R = 1 ohm, 1 A s. With the loaded voltage U, V = U + 3/U and
    I = 3/U, so dq/I = (U/3) (1/2) (1 - 3/U^2) dU = (U - 3/U)/6 dU, whose integral is (U^2/2 - 3 ln U)/6 from
    U(4) = 3, as 4 = 3 + 3/3, to U(5) = (5 + sqrt 13)/2, as U^2 - 5 U + 3 = 0.
    """
    high, low = (5 + math.sqrt(13)) / 2, 3.0
    expected = ((high**2 - low**2) / 2 - 3 * math.log(high / low)) / 6
    flight = discharge([3.0, 5.0], power=3.0, resistance=1.0, capacity=1.0, reserve=0.5)
    assert flight.duration[0] == pytest.approx(expected, rel=1e-12)
    assert flight.end_voltage[0] == pytest.approx(3.0, rel=1e-12)


def test_without_resistance_the_time_is_the_energy_under_the_curve_over_the_power() -> None:
    """Limit R = 0, every chemistry: trapezoids under the rested curve (exact for straight pieces), times charge."""
    nodes = cells.OPEN_CIRCUIT_VOLTAGE
    rows = nodes.shape[0]
    energy = np.trapezoid(nodes, dx=1 / (nodes.shape[1] - 1), axis=1) * 3600
    flight = pack.constant_power_discharge(
        nodes,
        power=np.full(rows, 7.0),
        resistance=np.zeros(rows),
        capacity=np.full(rows, 3600.0),
        start_state_of_charge=np.ones(rows),
        reserve=np.zeros(rows),
        cutoff_voltage=np.ones(rows),
    )
    np.testing.assert_allclose(flight.duration, energy / 7.0, rtol=1e-12)


LIPO: Final = cells.OPEN_CIRCUIT_VOLTAGE[0].tolist()


@pytest.mark.parametrize(
    ("power", "resistance", "reserve", "cutoff", "ended_by"),
    [
        # By hand: at 20 % the rested 3.6956 V less some 5 W / 3.6 V x 0.01 ohm = 0.014 V is far above 3.3 V.
        pytest.param(5.0, 0.01, 0.2, 3.3, RESERVE, id="reserve-comes-first"),
        # By hand: the same cell to 0 % rests at 3.0177 V, below 3.3 V.
        pytest.param(5.0, 0.01, 0.0, 3.3, CUT_OFF, id="cut-off-comes-first"),
        # By hand: 2 sqrt(P R) = 2 sqrt(30 x 0.1) = 3.46 V rested, loaded 1.73 V, still above a cut-off of 1 V.
        pytest.param(30.0, 0.1, 0.0, 1.0, POWER_LIMIT, id="pack-gives-out-first"),
    ],
)
def test_what_ends_a_discharge(power: float, resistance: float, reserve: float, cutoff: float, ended_by: int) -> None:
    flight = discharge(LIPO, power=power, resistance=resistance, reserve=reserve, cutoff_voltage=cutoff)
    assert flight.ended_by[0] == ended_by
    expected_voltage = {CUT_OFF: cutoff, POWER_LIMIT: math.sqrt(power * resistance)}
    if ended_by in expected_voltage:
        # By definition; where the pack gives out, V = 2 sqrt(P R) rested is sqrt(P R) loaded, a double root.
        assert flight.end_voltage[0] == pytest.approx(expected_voltage[ended_by], rel=1e-6)
    else:
        assert flight.end_state_of_charge[0] == reserve


@pytest.mark.parametrize(
    ("start", "reserve", "power", "cutoff", "expected"),
    [
        pytest.param(0.2, 0.2, 5.0, 3.0, 0.0, id="starts-at-the-reserve"),
        pytest.param(0.1, 0.3, 5.0, 3.0, 0.0, id="starts-below-the-reserve"),
        pytest.param(1.0, 0.0, 5.0, 4.3, 0.0, id="cut-off-above-the-full-cell"),
        # By hand: V^2 / 4R = 4.2^2 / 0.04 = 441 W.
        pytest.param(1.0, 0.0, 450.0, 1.0, math.nan, id="asked-for-more-than-it-can-give"),
    ],
)
def test_a_discharge_that_cannot_start(
    start: float, reserve: float, power: float, cutoff: float, expected: float
) -> None:
    """By definition: nothing to fly is 0 s; a power that the pack cannot give has no answer."""
    flight = discharge(
        LIPO, power=power, resistance=0.01, start_state_of_charge=start, reserve=reserve, cutoff_voltage=cutoff
    )
    assert flight.duration[0] == pytest.approx(expected, rel=1e-12, nan_ok=True)
    assert flight.end_state_of_charge[0] == start


def test_twice_the_capacity_lasts_twice_as_long() -> None:
    """Scaling law, resistance held: the charge at every voltage doubles, the current does not."""
    once = discharge(LIPO, power=20.0, resistance=0.02, capacity=3600.0, cutoff_voltage=3.3)
    twice = discharge(LIPO, power=20.0, resistance=0.02, capacity=7200.0, cutoff_voltage=3.3)
    assert twice.duration[0] == pytest.approx(2 * once.duration[0], rel=1e-12)
    assert twice.end_state_of_charge[0] == once.end_state_of_charge[0]


def test_two_packs_side_by_side_share_twice_the_power() -> None:
    """Scaling law: in parallel, charge and power double and resistance halves; the time stays."""
    once = discharge(LIPO, power=20.0, resistance=0.02, capacity=3600.0, cutoff_voltage=3.3)
    twice = discharge(LIPO, power=40.0, resistance=0.01, capacity=7200.0, cutoff_voltage=3.3)
    assert twice.duration[0] == pytest.approx(once.duration[0], rel=1e-12)


@st.composite
def packs(draw: st.DrawFn) -> dict[str, Any]:
    """Return a rising curve of straight pieces, and a discharge that can start."""
    rises = draw(st.lists(st.floats(0.002, 0.4), min_size=1, max_size=8))
    nodes = list(np.cumsum([draw(st.floats(1.0, 3.5)), *rises]))
    start = draw(st.floats(0.05, 1.0))
    rested = float(np.interp(start, np.linspace(0, 1, len(nodes)), nodes))
    power = draw(st.floats(0.1, 100.0))
    resistance = draw(st.just(0.0) | st.floats(1e-6, 0.95).map(lambda share: share * rested**2 / (4 * power)))
    loaded = (rested + math.sqrt(rested**2 - 4 * power * resistance)) / 2
    return {
        "nodes": nodes,
        "power": power,
        "resistance": resistance,
        "capacity": draw(st.floats(100.0, 1e5)),
        "start_state_of_charge": start,
        "reserve": draw(st.floats(0.0, 0.95)) * start,
        "cutoff_voltage": draw(st.floats(0.1, 0.99)) * loaded,
    }


@given(packs())
def test_duration_is_the_integral_of_charge_over_current(case: dict[str, Any]) -> None:
    """Against scipy.integrate.quad of dq / I(q), piece by piece, I by the textbook's larger-denominator root."""
    flight = discharge(**case)
    nodes, power, resistance = np.array(case["nodes"]), case["power"], case["resistance"]
    grid = np.linspace(0, 1, len(nodes))
    end, start = float(flight.end_state_of_charge[0]), case["start_state_of_charge"]

    def seconds_per_charge(q: float) -> float:
        voltage = float(np.interp(q, grid, nodes))
        root = math.sqrt(max(voltage**2 - 4 * power * resistance, 0.0))
        return float((voltage + root) / (2 * power))

    edges = [end, *[float(q) for q in grid if end < q < start], start]
    expected = sum(
        integrate.quad(seconds_per_charge, low, high, epsabs=0, epsrel=1e-8, limit=200)[0]
        for low, high in itertools.pairwise(edges)
        if high > low
    )
    assert flight.duration[0] == pytest.approx(case["capacity"] * expected, rel=1e-6)


@given(packs())
def test_a_discharge_ends_where_it_says(case: dict[str, Any]) -> None:
    """At the end the reserve, the cut-off or the largest power holds, and neither of the others has come before."""
    flight = discharge(**case)
    nodes, lost = np.array(case["nodes"]), case["power"] * case["resistance"]
    end = float(flight.end_state_of_charge[0])
    rested = float(np.interp(end, np.linspace(0, 1, len(nodes)), nodes))
    if flight.ended_by[0] == RESERVE:
        assert end == case["reserve"]
        assert rested**2 >= 4 * lost * (1 - 1e-9)
        assert flight.end_voltage[0] >= case["cutoff_voltage"] * (1 - 1e-9)
    elif flight.ended_by[0] == CUT_OFF:
        assert flight.end_voltage[0] == pytest.approx(case["cutoff_voltage"], rel=1e-9)
        assert end >= case["reserve"]
    else:
        assert rested == pytest.approx(2 * math.sqrt(lost), rel=1e-9)
        assert case["cutoff_voltage"] < rested / 2
        assert end >= case["reserve"]


@given(packs(), st.floats(1.001, 1.5))
def test_more_power_or_resistance_or_reserve_never_lasts_longer(case: dict[str, Any], factor: float) -> None:
    """Monotonic, as physics has it; more charge lasts longer."""
    duration = discharge(**case).duration[0]
    assume(duration > 0)
    for name in ("power", "resistance", "reserve", "cutoff_voltage"):
        harder = discharge(**{**case, name: case[name] * factor}).duration[0]
        assert np.isnan(harder) or harder <= duration * (1 + 1e-12), name
    assert discharge(**{**case, "capacity": case["capacity"] * factor}).duration[0] > duration


def test_a_row_does_not_touch_its_neighbours() -> None:
    """Three cells at once give bit for bit what each gives by itself."""
    chemistry = np.array([0, 2, 3])
    powers, cutoffs = np.array([5.0, 20.0, 60.0]), np.array([3.3, 2.8, 2.5])
    together = pack.constant_power_discharge(
        cells.OPEN_CIRCUIT_VOLTAGE[chemistry],
        power=powers,
        resistance=np.full(3, 0.02),
        capacity=np.full(3, 9000.0),
        start_state_of_charge=np.ones(3),
        reserve=np.zeros(3),
        cutoff_voltage=cutoffs,
    )
    for row in range(3):
        alone = discharge(
            cells.OPEN_CIRCUIT_VOLTAGE[chemistry[row]].tolist(),
            power=powers[row],
            resistance=0.02,
            capacity=9000.0,
            cutoff_voltage=cutoffs[row],
        )
        assert alone.duration[0] == together.duration[row]


discharges = st.tuples(
    st.sampled_from(range(len(cells.CHEMISTRIES))),
    st.integers(1, 12),
    st.floats(50.0, 20_000.0),  # mAh
    st.floats(0.0, 200.0),  # mohm Ah of a series position
    st.floats(0.2, 1.0),  # charge at the start
    st.floats(0.0, 0.97),  # of it, left at the end
    st.floats(20.0, 20_000.0),  # s
)


@given(discharges)
def test_average_power_gives_the_duration_back(pack_of: tuple[int, int, float, float, float, float, float]) -> None:
    """Round trip, to 1e-9: the power found for a duration takes that long, whatever ends the discharge."""
    chemistry, count, capacity, product, start, left, duration = pack_of
    same: dict[str, Array] = {
        "resistance": one(count * product / capacity),
        "capacity": one(3.6 * capacity),
        "start_state_of_charge": one(start),
        "cutoff_voltage": cells.CUTOFF_VOLTAGE[[chemistry]],
    }
    assume(cells.open_circuit_voltage(np.array([chemistry]), one(start))[0] > same["cutoff_voltage"][0])
    end = one(start * left)
    codes = np.array([chemistry])
    with np.errstate(all="ignore"):
        power = find_average_power(codes, one(count), duration=one(duration), end_state_of_charge=end, **same)
        found = pack.discharge_pack(codes, one(count), power=power, reserve=end, **same)
    assert power[0] > 0
    assert found.duration[0] == pytest.approx(duration, rel=1e-9)


def test_average_power_by_hand() -> None:
    """Without resistance it is the energy over the time: lipo from 100 to 90 % of 1 Ah holds 0.41412 Wh (trapezoids),
    24.8472 W for a minute; and Brent's method of SciPy finds the same root with resistance.
    """
    codes, ones = np.zeros(1, dtype=np.intp), one(1.0)
    same: dict[str, Array] = {"capacity": one(3600.0), "start_state_of_charge": ones, "cutoff_voltage": one(3.3)}
    power = find_average_power(
        codes, ones, duration=one(60.0), resistance=one(0.0), end_state_of_charge=one(0.9), **same
    )
    assert power[0] == pytest.approx(24.8472, rel=1e-9)

    def excess(power: float) -> float:
        taken = pack.discharge_pack(codes, ones, power=one(power), resistance=one(0.03), reserve=one(0.2), **same)
        return float(taken.duration[0]) - 300.0

    found = find_average_power(
        codes, ones, duration=one(300.0), resistance=one(0.03), end_state_of_charge=one(0.2), **same
    )
    assert found[0] == pytest.approx(optimize.brentq(excess, 10, 40, xtol=1e-12), rel=1e-9)


def test_no_average_power_of_no_flight() -> None:
    """Limit: nothing used, a pack that starts below its cut-off, a missing value. Others beside it are found."""
    start, end = np.array([1.0, 0.5, 0.02, 1.0]), np.array([0.2, 0.5, 0.0, np.nan])
    with np.errstate(all="ignore"):
        found = find_average_power(
            np.zeros(4, dtype=np.intp),
            np.full(4, 4.0),
            duration=np.full(4, 300.0),
            resistance=np.full(4, 0.05),
            capacity=np.full(4, 4680.0),
            start_state_of_charge=start,
            end_state_of_charge=end,
            cutoff_voltage=np.full(4, 3.3),
        )
    assert np.isnan(found).tolist() == [False, True, True, True]


def test_the_power_of_no_time_at_all_is_the_most_that_the_cell_gives(monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand: a full lipo cell at its cut-off gives 3.3 V x (4.2 V - 3.3 V) / 50 mΩ."""
    calls = 0
    integrate = pack.constant_power_discharge

    def counted(nodes: Array, **inputs: Array) -> pack.Discharge:
        nonlocal calls
        calls += 1
        return integrate(nodes, **inputs)

    monkeypatch.setattr(pack, "constant_power_discharge", counted)
    with np.errstate(all="ignore"):
        found = find_average_power(
            np.zeros(1, dtype=np.intp),
            one(4.0),
            duration=one(1e-300),
            resistance=one(0.2),
            capacity=one(4680.0),
            start_state_of_charge=one(1.0),
            end_state_of_charge=one(0.2),
            cutoff_voltage=one(3.3),
        )
    assert found[0] == pytest.approx(4 * 3.3 * 0.9 / 0.05, rel=1e-12)
    assert calls < 80


def test_the_same_flight_in_many_rows_is_searched_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """As in the sweep of another input; bit for bit what each row alone has."""
    sizes: list[int] = []
    integrate = pack.constant_power_discharge

    def counted(nodes: Array, **inputs: Array) -> pack.Discharge:
        sizes.append(len(inputs["power"]))
        return integrate(nodes, **inputs)

    monkeypatch.setattr(pack, "constant_power_discharge", counted)
    durations = np.array([300.0, 240.0, 300.0, np.nan, 180.0, 240.0, 300.0])

    def find(duration: Array) -> Array:
        count = len(duration)
        return find_average_power(
            np.zeros(count, dtype=np.intp),
            np.full(count, 4.0),
            duration=duration,
            resistance=np.full(count, 0.05),
            capacity=np.full(count, 4680.0),
            start_state_of_charge=np.ones(count),
            end_state_of_charge=np.full(count, 0.2),
            cutoff_voltage=np.full(count, 3.3),
        )

    with np.errstate(all="ignore"):
        together = find(durations)
        assert max(sizes) == 3
        alone = [float(find(one(float(duration)))[0]) for duration in durations]
    np.testing.assert_array_equal(together, alone)
