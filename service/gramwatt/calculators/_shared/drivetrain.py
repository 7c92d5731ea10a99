"""Motors and propellers as inputs: fields, defaults, and values computed from a bench point."""

from typing import Annotated, Any, Final, TypeAlias

import numpy as np

from gramwatt.calculators._shared import fields
from gramwatt.model import Array, Assumption, Caution, Quantity, Reference
from gramwatt.physics import motor, propeller
from gramwatt.physics.craft import Drive

KvDeficit: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "How far the real speed constant is below the rated one: 2 to 11 % for most measured motors.",
        at_least=-20,
        below=50,
        default=6,
        default_u=4,
    ),
]
MotorResistance: TypeAlias = Annotated[
    Array,
    fields.optional_quantity(
        "mohm",
        "Effective resistance of one motor with its controller and leads, far above that of the winding.",
        at_most=1e5,
    ),
]
NoLoadCurrent: TypeAlias = Annotated[
    Array, Quantity("A", "No-load current of one motor.", at_least=0, at_most=100, default=1.0, default_u=0.5)
]
FigureOfMerit: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "Ideal over real power of the propeller: 0.61 to 0.64 for eight measured five-inch propellers, less at high "
        "pitch.",
        above=0,
        below=1,
        default=0.62,
        default_u=0.05,
    ),
]
ThrustCoefficient: TypeAlias = Annotated[
    Array, fields.optional_quantity("1", "Static thrust coefficient T / (rho n^2 D^4), if measured.", at_most=1)
]
PowerCoefficient: TypeAlias = Annotated[
    Array, fields.optional_quantity("1", "Static power coefficient P / (rho n^3 D^5), if measured.", at_most=1)
]
ControllerRating: TypeAlias = Annotated[
    Array, fields.optional_quantity("A", "Continuous rating of one speed controller.", at_most=1e4)
]
BenchSpeed: TypeAlias = Annotated[
    Array, fields.optional_quantity("rpm", "Measured: speed of one propeller on the bench.", at_most=1e6)
]
BenchThrust: TypeAlias = Annotated[
    Array, fields.optional_quantity("gf", "Measured: thrust of one propeller at the bench speed.", at_most=1e6)
]
BenchShaftPower: TypeAlias = Annotated[
    Array, fields.optional_quantity("W", "Measured: shaft power of one propeller at the bench speed.", at_most=1e6)
]
BenchVoltage: TypeAlias = Annotated[
    Array,
    fields.optional_quantity("V", "Measured: voltage at the controller of one motor at full throttle.", at_most=200),
]
BenchCurrent: TypeAlias = Annotated[
    Array,
    fields.optional_quantity(
        "A", "Measured: current of one motor at the bench voltage and full throttle.", at_most=1e4
    ),
]


def real_kv(given: Any) -> Array:
    """Return the real speed constant (N,) of the motor [rad/(s V)]."""
    return np.asarray(given.kv * (1 - given.kv_deficit))


def drive_of(given: Any) -> Drive:
    """Return the motors and propellers of the inputs of a calculator."""
    return Drive(
        motors=given.motors,
        speed_constant=real_kv(given),
        motor_resistance=given.motor_resistance,
        no_load_current=given.no_load_current,
        diameter=given.diameter,
        thrust_coefficient=given.thrust_coefficient,
        power_coefficient=given.power_coefficient,
        air_density=given.air_density,
    )


def _bench_resistance(given: Any) -> Array:
    return motor.resistance_from_bench(
        given.bench_voltage,
        given.bench_current,
        speed_constant=real_kv(given),
        no_load_current=given.no_load_current,
        torque_factor=propeller.torque_factor(given.power_coefficient, given.diameter, given.air_density),
    )


ASSUMPTIONS: Final[tuple[Assumption[Any], ...]] = (
    Assumption(
        "thrust_coefficient",
        "computed from bench thrust and bench speed",
        lambda given: propeller.measured_thrust_coefficient(
            given.bench_thrust, given.bench_speed, given.diameter, given.air_density
        ),
        solved_from=("bench_thrust", "bench_speed"),
    ),
    Assumption(
        "thrust_coefficient",
        "0.145 × (pitch/diameter)^0.55 × (blades/2)^0.5",
        lambda given: propeller.expected_thrust_coefficient(given.diameter, given.pitch, given.blades),
        uncertainty=lambda given: propeller.COEFFICIENT_SPREAD * given.thrust_coefficient,
    ),
    Assumption(
        "power_coefficient",
        "computed from bench shaft power and bench speed",
        lambda given: propeller.measured_power_coefficient(
            given.bench_shaft_power, given.bench_speed, given.diameter, given.air_density
        ),
        solved_from=("bench_shaft_power", "bench_speed"),
    ),
    Assumption(
        "power_coefficient",
        "sqrt(2/π) × (thrust coefficient)^1.5 / figure of merit",
        lambda given: propeller.power_coefficient(given.thrust_coefficient, given.figure_of_merit),
    ),
    Assumption(
        "motor_resistance",
        "computed from bench voltage and bench current",
        _bench_resistance,
        solved_from=("bench_voltage", "bench_current"),
    ),
    Assumption(
        "motor_resistance",
        "250 mΩ: typical of motors for five-inch propellers",
        lambda given: np.full_like(given.kv, motor.TYPICAL_RESISTANCE),
        uncertainty=lambda given: np.full_like(given.kv, motor.RESISTANCE_SPREAD),
    ),
)

OUTSIDE_REGRESSION: Final[Caution[Any, Any]] = Caution(
    "propeller-extrapolated",
    "This propeller is outside the range of those from which its thrust coefficient is estimated (2 to 9 in, "
    "pitch/diameter 0.3 to 1.1, 2 to 4 blades). Give the thrust coefficient, or bench thrust and bench speed.",
    when=lambda given, found: propeller.is_extrapolated(given.diameter, given.pitch, given.blades),
    assumed="thrust_coefficient",
)
CATALOGUE_DATA: Final[Caution[Any, Any]] = Caution(
    "motor-assumed",
    "Motor resistance is an estimate for five-inch propellers. From catalogue data alone full-throttle current is "
    "known to about 15 %, at worst to a third; strong motors (about 100 mΩ) draw a quarter more. One bench point "
    "(bench voltage and bench current) replaces the estimate.",
    assumed="motor_resistance",
)
BENCH_IMPOSSIBLE: Final[Caution[Any, Any]] = Caution(
    "bench-point-impossible",
    "Bench voltage and bench current do not fit this motor and propeller: no resistance above zero explains them. The "
    "typical resistance was used instead.",
    when=lambda given, found: ~np.isnan(given.bench_voltage * given.bench_current) & np.isnan(_bench_resistance(given)),
)
STATIC: Final[Caution[Any, Any]] = Caution(
    "static",
    "These figures are for a craft at rest. In flight, moving air unloads the propellers, so the current is lower.",
)

MODEL: Final = Reference(
    "First-order motor on an ideal converter, propeller torque c w^2, pack behind a resistance: closed form, derived. "
    "The equations of the motor are those of aerosandbox 4.2.10"
)
COEFFICIENTS: Final = Reference(
    "Thrust coefficient: fitted to the UIUC Propeller Database, volumes 1 to 3 (Brandt & Selig, AIAA 2011-1255; "
    "Deters, Ananda & Selig, AIAA 2014-2151); power from the figure of merit of momentum theory",
    url="https://m-selig.ae.illinois.edu/props/propDB.html",
)
BENCH: Final = Reference(
    "Effective resistance, no-load current and kV deficit: an open set of bench runs of nine motors with eight "
    "five-inch propellers (StrawsonDesign/motor_propeller_testing, MIT)",
    url="https://github.com/StrawsonDesign/motor_propeller_testing",
)
