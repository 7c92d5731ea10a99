"""Motors behind a pack up to the limit of what it can give, against bisection of the whole system in 50 digits."""

import math
from decimal import Decimal, localcontext
from typing import Final, NamedTuple

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from gramwatt.physics import motor

RPM: Final = 2 * math.pi / 60
DIGITS: Final = 50
HALVINGS: Final = 150


class Case(NamedTuple):
    """One motor and pack, in the order of `motor.equilibrium`."""

    speed_constant: float
    motor_resistance: float
    no_load_current: float
    torque_factor: float
    motors: float
    duty: float
    open_circuit_voltage: float
    pack_resistance: float
    avionics_power: float


class Balance:
    """The governing equations over the loaded voltage V, one unknown.

    A motor sees d V = k w + R I with I = I0 + c w^2 / k, which gives w. What is left of the voltage at rest is
    F(V) = V_0 - V - R_p (N d I + P_a / V), concave in V: both currents are convex. Its larger zero is the steady
    point, as V falls from V_0 to it.
    """

    def __init__(self, case: Case) -> None:
        self.kv, self.r, self.i0, self.c, self.n, self.d, self.v0, self.rp, self.pa = map(Decimal, case)
        self.stall = self.i0 * self.r / self.d

    def speed(self, volts: Decimal) -> Decimal:
        surplus = self.d * volts - self.i0 * self.r
        k, a = 1 / self.kv, self.c * self.kv * self.r
        return 2 * surplus / (k + (k * k + 4 * a * surplus).sqrt())

    def left(self, volts: Decimal) -> Decimal:
        current = self.i0 + self.c * self.kv * self.speed(volts) ** 2
        return self.v0 - volts - self.rp * (self.n * self.d * current + self.pa / volts)

    def slope(self, volts: Decimal) -> Decimal:
        """F'(V), of dI/dV = d 2 c Kv w / (k + 2 c Kv R w)."""
        w = self.speed(volts)
        rise = self.d * 2 * self.c * self.kv * w / (1 / self.kv + 2 * self.c * self.kv * self.r * w)
        return -1 - self.rp * (self.n * self.d * rise - self.pa / volts**2)


def steady_point(case: Case) -> tuple[float, float] | None:
    """Speed and voltage; None where the motors do not turn."""
    with localcontext() as context:
        context.prec = DIGITS
        balance = Balance(case)
        if balance.stall >= balance.v0:
            return None
        low, high = max(balance.stall, balance.v0 * Decimal("1e-30")), balance.v0
        if balance.slope(low) > 0:
            for _ in range(HALVINGS):  # the top of F
                middle = (low + high) / 2
                low, high = (middle, high) if balance.slope(middle) > 0 else (low, middle)
        if balance.left(low) <= 0:
            return None
        high = balance.v0
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            low, high = (middle, high) if balance.left(middle) > 0 else (low, middle)
        return float(balance.speed(low)), float(low)


def equilibrium(*cases: Case) -> motor.OperatingPoint:
    with np.errstate(all="ignore"):
        return motor.equilibrium(**{name: np.array([getattr(case, name) for case in cases]) for name in Case._fields})


def logarithmic(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(math.log(low), math.log(high)).map(math.exp)


CASES: Final = st.builds(
    Case,
    speed_constant=logarithmic(50 * RPM, 20_000 * RPM),
    motor_resistance=logarithmic(1e-3, 10),
    no_load_current=st.just(0.0) | logarithmic(0.01, 20),
    torque_factor=logarithmic(1e-12, 1e-4),
    motors=st.integers(1, 12).map(float),
    duty=st.just(1.0) | st.floats(0.01, 1),
    open_circuit_voltage=st.floats(3, 100),
    pack_resistance=st.just(0.0) | logarithmic(1e-4, 100),
    avionics_power=st.just(0.0) | logarithmic(0.1, 1000),
)
"""Beyond the bounds that calculators declare: packs of 100 ohm, avionics of 1 kW."""


def check(case: Case) -> None:
    """Whether the motors turn, and how, to 1e-11 of the voltage: a last bit of an input may move it that far."""
    found, expected = equilibrium(case), steady_point(case)
    if expected is None:
        assert all(math.isnan(float(values[0])) for values in found)
        return
    speed, voltage = expected
    assert found.pack_voltage[0] == pytest.approx(voltage, rel=1e-11)
    assert found.rotor_speed[0] == pytest.approx(speed, rel=1e-10)


@given(CASES)
def test_within_all_bounds(case: Case) -> None:
    check(case)


def limit(case: Case, share: float) -> Case:
    """Return a pack and avionics from which these motors take all power, at a voltage between stall and rest.

    There F and F' are both 0: the latter gives the avionics' power, the former the voltage at rest.
    """
    with localcontext() as context:
        context.prec = DIGITS
        balance = Balance(case)
        volts = balance.stall + (balance.v0 - balance.stall) * Decimal(share)
        balance.pa = Decimal(0)
        power = -balance.slope(volts) * volts**2 / balance.rp
        balance.pa = power
        return case._replace(avionics_power=float(power), open_circuit_voltage=float(balance.v0 - balance.left(volts)))


@given(CASES, st.floats(0.01, 0.99), st.floats(-6, -0.5), st.sampled_from((-1, 1)))
def test_near_the_limit(case: Case, share: float, exponent: float, side: int) -> None:
    """Of avionics a millionth to a third under what the pack gives beside the motors, or over it.

    Under it, and with motors that sag, P_a may be so large that the pack could not feed it from a larger voltage
    without the motors' resistance beside it (h above 1); over it nothing turns.
    """
    assume(case.pack_resistance > 0 and case.no_load_current * case.motor_resistance < case.duty * 2)
    edge = limit(case, share)
    check(edge._replace(avionics_power=edge.avionics_power * (1 + side * 10**exponent)))


@given(st.lists(CASES, min_size=2, max_size=6))
def test_rows_do_not_depend_on_each_other(cases: list[Case]) -> None:
    """To the last bit: however many steps another row takes."""
    together = equilibrium(*cases)
    for row, case in enumerate(cases):
        for alone, values in zip(equilibrium(case), together, strict=True):
            assert alone.tobytes() == values[row : row + 1].tobytes()


def test_a_small_pack_gives_out() -> None:
    """By hand: to turn, four motors draw 4 x 0.66 x 1 A = 2.64 A, which leaves 25.2 - 8 x 2.64 = 4.08 V.

    Avionics can have 4.08^2 / 32 = 0.52 W of that, not 5 W. Behind 1 ohm 22.56 V are left, and 127 W.
    """
    small = Case(
        speed_constant=1833 * RPM,
        motor_resistance=0.25,
        no_load_current=1.0,
        torque_factor=1.28e-8,
        motors=4.0,
        duty=0.66,
        open_circuit_voltage=25.2,
        pack_resistance=8.0,
        avionics_power=5.0,
    )
    assert math.isnan(float(equilibrium(small).rotor_speed[0]))
    assert equilibrium(small._replace(pack_resistance=1.0)).rotor_speed[0] > 0


def watts_at(case: Case, rotor_speed: float) -> Decimal:
    """Return what the pack must give at a speed: N I (k w + R I) + P_a."""
    with localcontext() as context:
        context.prec = DIGITS
        balance = Balance(case)
        w = Decimal(rotor_speed)
        current = balance.i0 + balance.c * balance.kv * w**2
        return balance.n * current * (w / balance.kv + balance.r * current) + balance.pa


@given(CASES, st.floats(0.01, 1), st.floats(-6, -0.3), st.sampled_from((-1, 1)))
def test_the_duty_for_a_speed_up_to_the_greatest_power(case: Case, share: float, exponent: float, side: int) -> None:
    """The pack's voltage at rest is such that V_0^2 / 4 R_p is a little more, or less, than the speed takes.

    Then the motors turn at that speed at the duty found, or there is none.
    """
    assume(case.pack_resistance > 0)
    rotor_speed = share * case.open_circuit_voltage * case.speed_constant
    watts = float(watts_at(case, rotor_speed)) * (1 + side * 10**exponent)
    case = case._replace(open_circuit_voltage=math.sqrt(4 * case.pack_resistance * watts))
    known = {name: np.array([getattr(case, name)]) for name in Case._fields if name != "duty"}
    with np.errstate(all="ignore"):
        duty = float(motor.demand_at_speed(np.array([rotor_speed]), **known).duty[0])
    assert math.isnan(duty) == (side < 0)
    if side > 0:
        expected = steady_point(case._replace(duty=duty))
        assert expected is not None
        assert expected[0] == pytest.approx(rotor_speed, rel=1e-9)
        assert expected[1] >= case.open_circuit_voltage / 2
