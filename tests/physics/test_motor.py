"""Motors behind a pack: printed check values, bisection of the whole system, limits, inverses, scaling laws."""

import dataclasses
import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import brentq

from gramwatt.physics import craft, motor, motor_constants

RPM: Final = 2 * math.pi / 60


@dataclass(frozen=True)
class Case:
    """A motor, its propeller's torque factor, and a pack; one value each."""

    volts: float = 16.0
    duty: float = 1.0
    kv: float = 2400 * RPM
    resistance: float = 0.2
    no_load: float = 1.0
    torque: float = 1.2e-8
    motors: int = 4
    pack: float = 0.03
    avionics: float = 5.0

    def with_(self, **changes: float) -> "Case":
        return dataclasses.replace(self, **changes)  # type: ignore[arg-type]


def equilibrium(case: Case) -> motor.OperatingPoint:
    """As in the service, floating-point errors stay silent."""
    with np.errstate(all="ignore"):
        return motor.equilibrium(
            speed_constant=np.array([case.kv]),
            motor_resistance=np.array([case.resistance]),
            no_load_current=np.array([case.no_load]),
            torque_factor=np.array([case.torque]),
            motors=np.array([float(case.motors)]),
            duty=np.array([case.duty]),
            open_circuit_voltage=np.array([case.volts]),
            pack_resistance=np.array([case.pack]),
            avionics_power=np.array([case.avionics]),
        )


def speed(case: Case) -> float:
    return float(equilibrium(case).rotor_speed[0])


def duty_at(rotor_speed: float, case: Case) -> float:
    with np.errstate(all="ignore"):
        found = motor.demand_at_speed(
            np.array([rotor_speed]),
            speed_constant=np.array([case.kv]),
            motor_resistance=np.array([case.resistance]),
            no_load_current=np.array([case.no_load]),
            torque_factor=np.array([case.torque]),
            motors=np.array([float(case.motors)]),
            open_circuit_voltage=np.array([case.volts]),
            pack_resistance=np.array([case.pack]),
            avionics_power=np.array([case.avionics]),
        )
    return float(found.duty[0])


def resistance_of(volts: float, amps: float, case: Case, *, rated: float = 1.0) -> float:
    """Return the resistance from a bench point; ``rated`` is the rated Kv, used where the no-load current is nan."""
    with np.errstate(all="ignore"):
        found = motor_constants.resistance_from_bench(
            np.array([volts]),
            np.array([amps]),
            speed_constant=np.array([case.kv]),
            no_load_current=np.array([case.no_load]),
            torque_factor=np.array([case.torque]),
            rated_speed_constant=np.array([rated]),
            diameter=np.array([0.127]),
        )
    return float(found[0])


ALONE: Final = Case(motors=1, pack=0.0, avionics=0.0, kv=2750 * RPM, resistance=0.12, no_load=0.6)


@pytest.mark.parametrize(
    ("volts", "rpm", "torque", "amps", "efficiency"),
    [
        pytest.param(14.8, 37400, 0.03264123, 10.0, 0.863784, id="volts-and-amps-given"),
        pytest.param(4.934047, 13000, 0.0039, 1.723119, 0.624479, id="speed-and-torque-given"),
    ],
)
def test_against_another_motor_model(volts: float, rpm: float, torque: float, amps: float, efficiency: float) -> None:
    """Golden: aerosandbox 4.2.10 motor_electric_performance, 2750 rpm/V, 0.12 ohm, 0.6 A; 1e-6.

    A propeller that takes this torque at this speed must settle there; 37400 rpm, 0.03264123 N m are 127.84 W.
    """
    case = ALONE.with_(volts=volts, torque=torque / (rpm * RPM) ** 2)
    found = equilibrium(case)
    assert found.rotor_speed[0] == pytest.approx(rpm * RPM, rel=1e-6)
    assert found.motor_current[0] == pytest.approx(amps, rel=1e-6)
    assert found.pack_current[0] == found.motor_current[0]
    assert found.pack_voltage[0] == volts
    shaft = case.torque * float(found.rotor_speed[0]) ** 3
    if rpm == 37400:
        assert shaft == pytest.approx(127.84, rel=1e-6)
    drive = craft.Drive(
        motors=np.ones(1),
        speed_constant=np.array([case.kv]),
        motor_resistance=np.array([case.resistance]),
        no_load_current=np.array([case.no_load]),
        diameter=np.ones(1),
        thrust_coefficient=np.ones(1),
        power_coefficient=np.array([case.torque * (2 * math.pi) ** 3]),
        air_density=np.ones(1),
    )
    worked = craft.operate(
        drive,
        np.ones(1),
        open_circuit_voltage=np.array([volts]),
        pack_resistance=np.zeros(1),
        avionics_power=np.zeros(1),
    )
    assert worked.motor_efficiency[0] == pytest.approx(efficiency, rel=1e-6)
    assert worked.power[0] == pytest.approx(volts * amps, rel=1e-6)


def test_by_hand() -> None:
    """By hand: k = 0.01 V s, c = 1e-8, R_t = 0.1 + 4 x 0.25 x 0.1 = 0.2 ohm, d V / R_t = 0.5 x 10 / 0.2 = 25 A:
    1e-8 w^2 + 5e-4 w - 0.01 x 24 = 0 has w = (-5e-4 + sqrt(2.5e-7 + 9.6e-9)) / 2e-8 = 475.489...; then
    I = 1e-6 w^2 + 1, pack 2 I, V = 10 - 0.2 I, and 0.5 V = 0.01 w + 0.1 I closes the loop.
    """
    found = equilibrium(
        Case(volts=10, duty=0.5, kv=100, resistance=0.1, no_load=1, torque=1e-8, motors=4, pack=0.1, avionics=0)
    )
    w = (-5e-4 + math.sqrt(2.5e-7 + 9.6e-9)) / 2e-8
    amps = 1e-6 * w**2 + 1
    assert found.rotor_speed[0] == pytest.approx(w, rel=1e-12)
    assert found.motor_current[0] == pytest.approx(amps, rel=1e-12)
    assert found.pack_current[0] == pytest.approx(2 * amps, rel=1e-12)
    assert found.pack_voltage[0] == pytest.approx(10 - 0.2 * amps, rel=1e-12)
    assert 0.5 * found.pack_voltage[0] == pytest.approx(0.01 * w + 0.1 * amps, rel=1e-12)


CASES: Final = st.builds(
    Case,
    volts=st.floats(7.0, 52.0),
    duty=st.floats(0.2, 1.0),
    kv=st.floats(500.0, 4000.0).map(lambda rpm: rpm * RPM),
    resistance=st.floats(0.03, 0.5),
    no_load=st.floats(0.0, 2.0),
    torque=st.floats(1e-9, 5e-8),
    motors=st.integers(1, 8),
    pack=st.floats(0.0, 0.1),
    avionics=st.floats(0.0, 10.0),
)


def loaded_voltage(case: Case, rotor_speed: float) -> float:
    """Of the pack at a speed: the larger root of V_p^2 - (V - R_p N d I) V_p + R_p P_a = 0."""
    amps = case.torque * rotor_speed**2 * case.kv + case.no_load
    source = case.volts - case.pack * case.motors * case.duty * amps
    return (source + math.sqrt(max(source**2 - 4 * case.pack * case.avionics, 0.0))) / 2


@given(CASES)
def test_against_bisection_of_the_whole_system(case: Case) -> None:
    """The loop closed by brackets alone (scipy's brentq).

    Motor volts against back-emf and drop, avionics by their own quadratic. Packs that sag by less than a third, so that
    rounds of substitution have settled to 1e-9.
    """

    def unbalanced(rotor_speed: float) -> float:
        amps = case.torque * rotor_speed**2 * case.kv + case.no_load
        volts = case.duty * loaded_voltage(case, rotor_speed)
        return volts - rotor_speed / case.kv - amps * case.resistance

    fastest = case.duty * case.volts * case.kv
    assume(unbalanced(fastest * 1e-3) > 0)
    expected = brentq(unbalanced, 0, fastest, xtol=1e-12, rtol=1e-14)
    assume(loaded_voltage(case, expected) > 2 / 3 * case.volts)
    found = equilibrium(case)
    assert found.rotor_speed[0] == pytest.approx(expected, rel=1e-9)
    assert found.pack_voltage[0] == pytest.approx(loaded_voltage(case, expected), rel=1e-9)
    assert found.pack_voltage[0] == pytest.approx(case.volts - case.pack * found.pack_current[0], rel=1e-12)
    drawn = case.motors * case.duty * found.motor_current[0] + case.avionics / found.pack_voltage[0]
    assert found.pack_current[0] == pytest.approx(drawn, rel=1e-9)


@given(CASES)
def test_duty_at_speed_is_the_inverse(case: Case) -> None:
    """Round trip: the duty that turns the propellers as some duty does is that duty."""
    found = equilibrium(case)
    assume(found.pack_voltage[0] > 2 / 3 * case.volts)
    assert duty_at(float(found.rotor_speed[0]), case) == pytest.approx(case.duty, rel=1e-8)


@given(CASES)
def test_the_demand_at_a_speed_is_the_power_that_the_pack_gives(case: Case) -> None:
    """Round trip: V I of the pack at some duty, avionics among it, is what the speed reached takes."""
    found = equilibrium(case)
    assume(found.pack_voltage[0] > 2 / 3 * case.volts)
    with np.errstate(all="ignore"):
        demand = motor.demand_at_speed(
            found.rotor_speed,
            speed_constant=np.array([case.kv]),
            motor_resistance=np.array([case.resistance]),
            no_load_current=np.array([case.no_load]),
            torque_factor=np.array([case.torque]),
            motors=np.array([float(case.motors)]),
            open_circuit_voltage=np.array([case.volts]),
            pack_resistance=np.array([case.pack]),
            avionics_power=np.array([case.avionics]),
        )
    assert demand.power[0] == pytest.approx(found.pack_voltage[0] * found.pack_current[0], rel=1e-9)


@given(CASES.map(lambda case: case.with_(pack=0.3, avionics=min(case.avionics, 0.02 * case.volts**2))))
def test_the_balance_holds_for_packs_that_sag_deeply(case: Case) -> None:
    """The pack's voltage and current agree with each other and with the motor's, down to half the voltage at rest."""
    found = equilibrium(case)
    assume(found.pack_voltage[0] > case.volts / 2)
    volts, amps = float(found.pack_voltage[0]), float(found.motor_current[0])
    drawn = case.motors * case.duty * amps + case.avionics / volts
    assert volts == pytest.approx(case.volts - case.pack * drawn, rel=1e-8)
    assert case.duty * volts == pytest.approx(float(found.rotor_speed[0]) / case.kv + amps * case.resistance, rel=1e-8)


@given(CASES)
def test_resistance_of_is_the_inverse(case: Case) -> None:
    """Round trip: volts and amps of a stiff supply at full throttle give the resistance back, to what is left of the
    digits after back-emf is taken from volts.
    """
    stiff = case.with_(duty=1.0, pack=0.0, avionics=0.0, motors=1)
    amps = float(equilibrium(stiff).motor_current[0])
    assume(amps > case.no_load * 1.001 + 1e-3)
    drop = amps * case.resistance / stiff.volts
    assert resistance_of(stiff.volts, amps, stiff) == pytest.approx(case.resistance, rel=1e-11 / drop * 1e2)


def test_limit_of_a_stiff_pack() -> None:
    """Limit R_p -> 0: the difference shrinks with R_p; at zero each of N motors is as one alone on a supply."""
    stiff = speed(Case(pack=0.0))
    gaps = [abs(speed(Case(pack=ohms)) / stiff - 1) for ohms in (1e-2, 1e-4, 1e-6)]
    assert gaps[0] > gaps[1] > gaps[2]
    assert gaps[1] == pytest.approx(gaps[0] / 100, rel=0.2)
    assert gaps[2] == pytest.approx(gaps[1] / 100, rel=0.01)
    assert stiff == pytest.approx(speed(Case(pack=0.0, motors=1, avionics=0.0)), rel=1e-12)


def test_limit_of_no_load_current() -> None:
    """Limit I0 -> 0: then torque takes all the current, c w^2 / k; the way there is straight."""
    free = equilibrium(Case(no_load=0.0))
    assert free.motor_current[0] == pytest.approx(1.2e-8 * free.rotor_speed[0] ** 2 * 2400 * RPM, rel=1e-12)
    gaps = [1 - speed(Case(no_load=amps)) / float(free.rotor_speed[0]) for amps in (1e-2, 1e-4)]
    assert gaps[1] == pytest.approx(gaps[0] / 100, rel=0.01)
    assert gaps[1] > 0


def test_limit_of_no_propeller() -> None:
    """Limit c -> 0, by hand: the speed where back-emf and I0 (R + N d^2 R_p) make up d V; no digits are lost."""
    bare = Case(torque=0.0, duty=0.6, avionics=0.0)
    expected = 2400 * RPM * (0.6 * 16 - 1.0 * (0.2 + 4 * 0.36 * 0.03))
    assert speed(bare) == pytest.approx(expected, rel=1e-12)
    assert speed(bare.with_(torque=1e-20)) == pytest.approx(expected, rel=1e-9)


@given(CASES)
def test_many_motors_are_one_behind_as_many_times_the_resistance(case: Case) -> None:
    """Scaling law without avionics: N motors on R_p turn as one on N R_p, and draw N times its current."""
    many = equilibrium(case.with_(avionics=0.0))
    one = equilibrium(case.with_(avionics=0.0, motors=1, pack=case.pack * case.motors))
    assume(math.isfinite(float(one.rotor_speed[0])))
    assert many.rotor_speed[0] == pytest.approx(one.rotor_speed[0], rel=1e-12)
    assert many.pack_current[0] == pytest.approx(case.motors * one.pack_current[0], rel=1e-12)
    assert many.pack_voltage[0] == pytest.approx(one.pack_voltage[0], rel=1e-9)


@given(st.floats(0.1, 0.9), st.floats(1.01, 1.1))
def test_thrust_goes_as_duty_squared_and_power_as_its_cube(duty: float, factor: float) -> None:
    """Law of the ideal motor, R -> 0 and I0 = 0: speed ~ duty, thrust ~ speed^2, power ~ speed^3."""
    ideal = Case(resistance=1e-12, no_load=0.0, pack=0.0, avionics=0.0)
    low, high = (equilibrium(ideal.with_(duty=each)) for each in (duty, duty * factor))
    assert low.rotor_speed[0] == pytest.approx(duty * 16 * 2400 * RPM, rel=1e-8)
    assert high.rotor_speed[0] ** 2 == pytest.approx(low.rotor_speed[0] ** 2 * factor**2, rel=1e-8)
    power = [float(each.pack_current[0] * each.pack_voltage[0]) for each in (low, high)]
    assert power[1] == pytest.approx(power[0] * factor**3, rel=1e-8)


@given(CASES)
def test_monotonic(case: Case) -> None:
    """Faster with volts and with duty while the pack is far from giving out; slower with every loss."""
    here = equilibrium(case)
    assume(here.pack_voltage[0] > 2 / 3 * case.volts)
    at = float(here.rotor_speed[0])
    assert speed(case.with_(volts=case.volts * 1.01)) > at
    assert speed(case.with_(duty=case.duty * 0.99)) < at
    assert speed(case.with_(torque=case.torque * 1.01)) < at
    assert speed(case.with_(resistance=case.resistance * 1.01)) < at
    assert speed(case.with_(no_load=case.no_load + 0.01)) < at
    assert speed(case.with_(pack=case.pack + 0.001)) < at
    assert speed(case.with_(pack=case.pack + 1e-3, avionics=case.avionics + 1)) < at


def test_a_motor_that_does_not_turn() -> None:
    """By hand: 0.01 x 16 V / (0.2 + 4 x 0.0001 x 0.03) ohm = 0.8 A is less than the no-load current of 1 A.

    0.013 x 16 / 0.2 = 1.04 A is more.
    """
    assert all(math.isnan(float(values[0])) for values in equilibrium(Case(duty=0.01)))
    assert speed(Case(duty=0.013)) > 0


def test_a_speed_the_pack_cannot_give() -> None:
    """By hand: at 4000 rad/s, I = 1.2e-8 x 1.6e7 x 251.33 + 1 = 49.3 A, V_m = 15.9 + 9.9 = 25.8 V: four motors take 5.1
    kW, and 16 V behind 30 mohm give 2.1 kW at most. With 3 mohm (21 kW) it takes a duty above 1.
    """
    assert math.isnan(duty_at(4000.0, Case()))
    assert duty_at(4000.0, Case(pack=0.003)) > 1


@pytest.mark.parametrize(
    ("volts", "amps"),
    [
        pytest.param(16.0, 0.9, id="less-than-the-no-load-current"),
        # By hand: 24 A of torque turn it at sqrt(24 / (251.33 x 1.2e-8)) = 2821 rad/s, 11.2 V of back-emf.
        pytest.param(11.0, 25.0, id="more-back-emf-than-volts"),
    ],
)
def test_a_bench_point_that_cannot_be(volts: float, amps: float) -> None:
    assert math.isnan(resistance_of(volts, amps, Case()))


def test_resistance_of_by_hand() -> None:
    """By hand: 24 A over Kv 100 and c = 6e-8 is w = sqrt(24 / 100 / 6e-8) = 2000 rad/s, 20 V; (25 - 20) / 25 = 0.2."""
    assert resistance_of(25.0, 25.0, Case(kv=100, torque=6e-8, no_load=1.0)) == pytest.approx(0.2, rel=1e-12)


@given(
    st.floats(6.0, 26.0),
    st.floats(1000.0, 4000.0).map(lambda rpm: rpm * RPM),
    st.floats(0.03, 0.6),
    st.floats(2e-9, 3e-8),
)
def test_resistance_of_with_a_computed_no_load_current_is_the_inverse(
    volts: float, kv: float, ohms: float, torque: float
) -> None:
    """Round trip: with I0 = 587 rpm / (Kv R), volts and amps of a stiff supply give R back, and nothing where I0 is
    more than half of the current.
    """
    no_load = 587 * RPM / (kv * ohms)
    case = ALONE.with_(volts=volts, kv=0.94 * kv, resistance=ohms, no_load=no_load, torque=torque)
    amps = float(equilibrium(case).motor_current[0])
    assume(math.isfinite(amps))
    found = resistance_of(volts, amps, case.with_(no_load=math.nan), rated=kv)
    if no_load > 0.5001 * amps:
        assert math.isnan(found)
    elif no_load < 0.4999 * amps:
        assert found == pytest.approx(ohms, rel=1e-9)


def test_resistance_at_speed_by_hand() -> None:
    """By hand: (14.8 V - 26600 rpm / 2256 rpm/V) / 23 A = 130.84 mohm; 12 V are less than the back-EMF of 28000 rpm."""
    volts, amps = np.array([14.8, 12.0]), np.array([23.0, 23.0])
    found = motor_constants.resistance_at_speed(volts, amps, np.array([26600, 28000]) * RPM, np.full(2, 2256 * RPM))
    assert found[0] == pytest.approx(0.130836, rel=4e-6)
    assert math.isnan(found[1])


def test_shaft_power_by_hand() -> None:
    """By hand: (23 - 3) A / 100 (rad/s)/V = 0.2 N m, at 2000 rad/s 400 W; none where I is not above I0."""
    found = motor_constants.shaft_power(np.array([23.0, 3.0]), np.full(2, 3.0), np.full(2, 2000.0), np.full(2, 100.0))
    assert found[0] == pytest.approx(400, rel=1e-12)
    assert math.isnan(found[1])
