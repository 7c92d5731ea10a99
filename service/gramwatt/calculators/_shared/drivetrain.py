"""What full-throttle and build ask alike about motors and propellers: inputs, defaults, what is solved from a bench."""

from typing import Annotated, Any, Final, TypeAlias

import numpy as np

from gramwatt.model import Array, Assumption, Caution, Quantity, Reference
from gramwatt.physics import motor, propeller
from gramwatt.physics.craft import Drive

KvDeficit: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "How far the real speed constant lies under the rated one; 2 to 11 % on most measured motors.",
        at_least=-20,
        below=50,
        default=6,
        default_u=4,
    ),
]
MotorResistance: TypeAlias = Annotated[
    Array,
    Quantity(
        "mohm",
        "Effective resistance of one motor with its controller and leads, far above the winding's.",
        above=0,
        at_most=1e5,
        optional=True,
    ),
]
NoLoadCurrent: TypeAlias = Annotated[
    Array, Quantity("A", "No-load current of one motor.", at_least=0, at_most=100, default=1.0, default_u=0.5)
]
FigureOfMerit: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "Ideal over real power of the propeller; 0.61 to 0.64 on eight measured five-inch ones, less at high pitch.",
        above=0,
        below=1,
        default=0.62,
        default_u=0.05,
    ),
]
ThrustCoefficient: TypeAlias = Annotated[
    Array,
    Quantity("1", "Static thrust coefficient, T / (rho n^2 D^4), if measured.", above=0, at_most=1, optional=True),
]
PowerCoefficient: TypeAlias = Annotated[
    Array,
    Quantity("1", "Static power coefficient, P / (rho n^3 D^5), if measured.", above=0, at_most=1, optional=True),
]
ControllerRating: TypeAlias = Annotated[
    Array, Quantity("A", "Continuous rating of one speed controller.", above=0, at_most=1e4, optional=True)
]
BenchSpeed: TypeAlias = Annotated[
    Array, Quantity("rpm", "Measured: speed of one propeller on the bench.", above=0, at_most=1e6, optional=True)
]
BenchThrust: TypeAlias = Annotated[
    Array, Quantity("gf", "Measured: its thrust at bench_speed.", above=0, at_most=1e6, optional=True)
]
BenchShaftPower: TypeAlias = Annotated[
    Array, Quantity("W", "Measured: its shaft power at bench_speed.", above=0, at_most=1e6, optional=True)
]
BenchVoltage: TypeAlias = Annotated[
    Array,
    Quantity("V", "Measured: volts at one motor's controller at full throttle.", above=0, at_most=200, optional=True),
]
BenchCurrent: TypeAlias = Annotated[
    Array,
    Quantity(
        "A", "Measured: amps of one motor at bench_voltage and full throttle.", above=0, at_most=1e4, optional=True
    ),
]


def real_kv(given: Any) -> Array:
    """The speed constant that the motor really has."""
    return np.asarray(given.kv * (1 - given.kv_deficit))


def drive_of(given: Any) -> Drive:
    """The motors and propellers of a calculator's inputs."""
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


def _solved_resistance(given: Any) -> Array:
    return motor.resistance_of(
        given.bench_voltage,
        given.bench_current,
        speed_constant=real_kv(given),
        no_load_current=given.no_load_current,
        torque_factor=propeller.torque_factor(given.power_coefficient, given.diameter, given.air_density),
    )


ASSUMPTIONS: Final[tuple[Assumption[Any], ...]] = (
    Assumption(
        "thrust_coefficient",
        "solved from bench_thrust and bench_speed",
        lambda given: propeller.thrust_coefficient_of(
            given.bench_thrust, given.bench_speed, given.diameter, given.air_density
        ),
        solved_from=("bench_thrust", "bench_speed"),
    ),
    Assumption(
        "thrust_coefficient",
        "0.145 (pitch/diameter)^0.55 (blades/2)^0.5",
        lambda given: propeller.expected_thrust_coefficient(given.diameter, given.pitch, given.blades),
        uncertainty=lambda given: propeller.COEFFICIENT_SPREAD * given.thrust_coefficient,
    ),
    Assumption(
        "power_coefficient",
        "solved from bench_shaft_power and bench_speed",
        lambda given: propeller.power_coefficient_of(
            given.bench_shaft_power, given.bench_speed, given.diameter, given.air_density
        ),
        solved_from=("bench_shaft_power", "bench_speed"),
    ),
    Assumption(
        "power_coefficient",
        "sqrt(2/pi) thrust_coefficient^1.5 / figure_of_merit",
        lambda given: propeller.power_coefficient(given.thrust_coefficient, given.figure_of_merit),
    ),
    Assumption(
        "motor_resistance",
        "solved from bench_voltage and bench_current",
        _solved_resistance,
        solved_from=("bench_voltage", "bench_current"),
    ),
    Assumption(
        "motor_resistance",
        "250 mohm: of motors for five-inch propellers",
        lambda given: np.full_like(given.kv, motor.USUAL_RESISTANCE),
        uncertainty=lambda given: np.full_like(given.kv, motor.RESISTANCE_SPREAD),
    ),
)

OUTSIDE_REGRESSION: Final[Caution[Any, Any]] = Caution(
    "propeller-extrapolated",
    "This propeller lies outside those that the expected thrust coefficient was fitted to (2 to 9 in, pitch/diameter "
    "0.3 to 1.1, 2 to 4 blades). Give thrust_coefficient, or bench_thrust at bench_speed.",
    when=lambda given, found: propeller.outside_fit(given.diameter, given.pitch, given.blades),
    assumed="thrust_coefficient",
)
CATALOGUE_DATA: Final[Caution[Any, Any]] = Caution(
    "motor-assumed",
    "motor_resistance is that of motors for five-inch propellers. From catalogue data alone full-throttle current is "
    "known to about 15 %, at worst a third; strong motors (about 100 mohm) draw a quarter more. One bench point "
    "(bench_voltage and bench_current) settles it.",
    assumed="motor_resistance",
)
BENCH_IMPOSSIBLE: Final[Caution[Any, Any]] = Caution(
    "bench-point-impossible",
    "bench_voltage and bench_current do not fit this motor and propeller (no resistance above zero explains them); "
    "the usual resistance was used.",
    when=lambda given, found: (
        ~np.isnan(given.bench_voltage * given.bench_current) & np.isnan(_solved_resistance(given))
    ),
)
STATIC: Final[Caution[Any, Any]] = Caution(
    "static",
    "These are figures at rest: moving air unloads the propellers, so the current in flight is lower.",
)

MODEL: Final = Reference(
    "First-order motor on an ideal converter, propeller torque c w^2, pack behind a resistance: closed form, derived; "
    "the motor's equations are those of aerosandbox 4.2.10, motor_electric_performance",
)
COEFFICIENTS: Final = Reference(
    "Thrust coefficient: fitted to the UIUC Propeller Database, volumes 1 to 3 (Brandt & Selig, AIAA 2011-1255; "
    "Deters, Ananda & Selig, AIAA 2014-2151); power from the figure of merit of momentum theory",
    url="https://m-selig.ae.illinois.edu/props/propDB.html",
)
BENCH: Final = Reference(
    "Effective resistance, no-load current and the deficit of kV: an open set of bench runs of nine motors with eight "
    "five-inch propellers (StrawsonDesign/motor_propeller_testing, MIT)",
    url="https://github.com/StrawsonDesign/motor_propeller_testing",
)
