"""Motors and propellers as inputs: fields, defaults, and values computed from a bench point."""

from typing import Annotated, Any, Final, TypeAlias

import numpy as np

from gramwatt.calculators._shared import drive_constants, drive_steps, pack_fields
from gramwatt.calculators._shared.drive_constants import is_bench_impossible as is_bench_impossible
from gramwatt.model import Array, Assumption, Caution, Deviate, Group, Quantity, Reference
from gramwatt.physics import motor_constants, propeller
from gramwatt.physics.craft import Drive

KvDeficit: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "How far the real speed constant is below the rated one: 2 to 11 % for most measured motors.",
        label="Motor kV deficit",
        group=Group.FINE_TUNING,
        at_least=-20,
        below=50,
        default=6,
        default_u=4,
    ),
]
MotorResistance: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "mohm",
        "Effective resistance of one motor with its controller and leads, far above that of the winding.",
        group=Group.FINE_TUNING,
        at_most=1e5,
        synonyms=("rm", "winding_resistance"),
    ),
]
NoLoadCurrent: TypeAlias = Annotated[
    Array,
    Quantity(
        "A",
        "No-load current of one motor under way.",
        label="No-load current",
        group=Group.FINE_TUNING,
        at_least=0,
        at_most=100,
        optional=True,
        synonyms=("i0", "idle_current"),
    ),
]
StatorDiameter: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "mm", "Stator diameter of the motor: 22 for one of size 2207.", group=Group.MOTOR, at_most=300
    ),
]
StatorHeight: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "mm", "Stator height of the motor: 7 for one of size 2207.", group=Group.MOTOR, at_most=300
    ),
]
ThrustCoefficient: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "1",
        "Static thrust coefficient T / (rho n^2 D^4), if measured.",
        group=Group.FINE_TUNING,
        at_most=1,
        synonyms=("ct",),
    ),
]
PowerCoefficient: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "1",
        "Static power coefficient P / (rho n^3 D^5), if measured.",
        group=Group.FINE_TUNING,
        at_most=1,
        synonyms=("cp",),
    ),
]
ControllerRating: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "A",
        "Continuous rating of one speed controller.",
        label="Controller (ESC) rating",
        group=Group.MOTOR,
        at_most=1e4,
        synonyms=("esc_rating", "esc", "esc_current"),
    ),
]
BenchSpeed: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "rpm",
        "Measured on a bench: speed of one propeller. All bench readings are of one moment.",
        group=Group.FINE_TUNING,
        at_most=1e6,
    ),
]
BenchThrust: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "gf", "Measured on a bench: thrust of one propeller at that moment.", group=Group.FINE_TUNING, at_most=1e6
    ),
]
BenchShaftPower: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "W", "Measured on a bench: shaft power of one propeller at that moment.", group=Group.FINE_TUNING, at_most=1e6
    ),
]
BenchVoltage: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "V",
        "Measured on a bench: voltage at the controller of one motor, at full throttle.",
        group=Group.FINE_TUNING,
        at_most=200,
    ),
]
BenchCurrent: TypeAlias = Annotated[
    Array,
    pack_fields.optional_quantity(
        "A",
        "Measured on a bench: current of one motor at that voltage, at full throttle.",
        group=Group.FINE_TUNING,
        at_most=1e4,
    ),
]

ThrustCoefficientError: TypeAlias = Annotated[
    Array, Deviate("Change of the thrust coefficient with speed, which the model leaves out.")
]
PowerCoefficientError: TypeAlias = Annotated[
    Array, Deviate("Change of the power coefficient with speed, which the model leaves out.")
]


def drive_of(given: Any) -> Drive:
    """Return the motors and propellers of the inputs of a calculator."""
    return Drive(
        motors=given.motors,
        speed_constant=drive_constants.real_kv(given),
        motor_resistance=given.motor_resistance,
        no_load_current=given.no_load_current,
        diameter=given.diameter,
        thrust_coefficient=given.thrust_coefficient * np.exp(propeller.SPEED_SPREAD * given.thrust_coefficient_error),
        power_coefficient=given.power_coefficient * np.exp(propeller.SPEED_SPREAD * given.power_coefficient_error),
        air_density=given.air_density,
    )


_MEASURED: Final = drive_steps.COEFFICIENT_POWER.format(speed="bench_speed")
_REAL_KV: Final = "(kv * (1 - kv_deficit))"
_BENCH_FACTOR: Final = f"{_REAL_KV} * power_coefficient * air_density * diameter**5 / (2 * pi)**3"
_SPEED_BY_CURRENT: Final = f"sqrt((bench_current - no_load_current) / ({_BENCH_FACTOR}))"
_SIZE: Final = "kv * diameter**2 / MATCHED_SIZE"
EXPECTED_THRUST_COEFFICIENT: Final = "0.145 × (pitch/diameter)^0.55 × (blades/2)^0.5"
EXPECTED_POWER_COEFFICIENT: Final = "sqrt(2/π) × (thrust coefficient)^1.5 / figure of merit"
NO_LOAD_CURRENT: Final[Assumption[Any]] = Assumption(
    "no_load_current",
    "587 rpm / (kV × motor resistance) for propellers of up to 6 in; × (6 in / diameter)^1.5 above",
    drive_constants.no_load_current_by_resistance,
    factor=lambda given: np.exp(motor_constants.no_load_spread(given.diameter)),
    formula="NO_LOAD_SPEED / (kv * motor_resistance) * min(CLASS_MAX_DIAMETER / diameter, 1)**NO_LOAD_SIZE_POWER",
)
ASSUMPTIONS: Final[tuple[Assumption[Any], ...]] = (
    Assumption(
        "thrust_coefficient",
        "computed from bench thrust and bench speed",
        lambda given: propeller.measured_thrust_coefficient(
            given.bench_thrust, given.bench_speed, given.diameter, given.air_density
        ),
        solved_from=("bench_thrust", "bench_speed"),
        formula="bench_thrust / (air_density * (bench_speed / (2 * pi))**2 * diameter**4)",
    ),
    Assumption(
        "thrust_coefficient",
        EXPECTED_THRUST_COEFFICIENT,
        lambda given: propeller.expected_thrust_coefficient(given.diameter, given.pitch, given.blades),
        factor=lambda given: np.exp(propeller.coefficient_spread(given.diameter, given.pitch, given.blades)),
        formula="THRUST_FACTOR * (pitch / diameter)**PITCH_POWER * (blades / 2)**BLADE_POWER",
    ),
    Assumption(
        "bench_speed",
        "computed from bench thrust and thrust coefficient",
        drive_constants.speed_by_thrust,
        solved_from=("bench_voltage", "bench_current", "bench_thrust"),
        formula="2 * pi * sqrt(bench_thrust / (thrust_coefficient * air_density * diameter**4))",
    ),
    Assumption(
        "power_coefficient",
        "computed from bench shaft power and bench speed",
        drive_constants.power_coefficient_by_shaft_power,
        solved_from=("bench_shaft_power", "bench_speed"),
        formula=f"bench_shaft_power / ({_MEASURED})",
    ),
    Assumption(
        "motor_resistance",
        "computed from bench voltage, bench current and bench speed",
        drive_constants.resistance_by_speed,
        solved_from=("bench_voltage", "bench_current"),
        formula=f"(bench_voltage - bench_speed / {_REAL_KV}) / bench_current",
    ),
    NO_LOAD_CURRENT,  # where the resistance is known by now; else after it, below
    Assumption(
        "power_coefficient",
        "computed from bench current, bench speed and no-load current",
        drive_constants.power_coefficient_by_torque,
        solved_from=("bench_voltage", "bench_current"),
        formula=f"(bench_current - no_load_current) / {_REAL_KV} * bench_speed / ({_MEASURED})",
    ),
    Assumption(
        "power_coefficient",
        EXPECTED_POWER_COEFFICIENT,
        drive_constants.default_power_coefficient,
        formula="sqrt(2 / pi) * thrust_coefficient**1.5 / figure_of_merit",
    ),
    Assumption(
        "motor_resistance",
        "computed from bench voltage and bench current",
        drive_constants.resistance_by_volts_and_amps,
        solved_from=("bench_voltage", "bench_current"),
        formula=f"(bench_voltage - {_SPEED_BY_CURRENT} / {_REAL_KV}) / bench_current",
    ),
    Assumption(
        "motor_resistance",
        "174 mΩ × (2000 rpm/V / kV)^2 × (3000 mm³ / (stator diameter^2 × stator height))^(5/3), known to a factor of "
        "1.48",
        drive_constants.resistance_by_stator,
        factor=float(np.exp(motor_constants.STATOR_SPREAD)),
        formula="STATOR_RESISTANCE * (STATOR_SPEED_CONSTANT / kv)**2"
        " * (STATOR_SIZE / (stator_diameter**2 * stator_height))**STATOR_POWER",
    ),
    Assumption(
        "motor_resistance",
        "200 mΩ for propellers of 4 to 6 in, known to a factor of 1.57; other sizes by kV × diameter^2, less surely",
        drive_constants.resistance_by_size,
        factor=lambda given: np.exp(motor_constants.typical_resistance_spread(given.kv, given.diameter)),
        formula=f"TYPICAL_RESISTANCE * (max(1 / MATCHED_BAND, min({_SIZE}, MATCHED_BAND)) / ({_SIZE}))**2",
    ),
    NO_LOAD_CURRENT,
)

OUTSIDE_REGRESSION: Final[Caution[Any, Any]] = Caution(
    "propeller-extrapolated",
    "This propeller is outside the range of those from which its thrust coefficient is estimated (2 to 9 in, "
    "pitch/diameter 0.3 to 1.1, 2 to 4 blades). Give the thrust coefficient, or bench thrust and bench speed.",
    when=lambda given, found: propeller.is_extrapolated(given.diameter, given.pitch, given.blades),
    assumed="thrust_coefficient",
)
MICRO_PROPELLER: Final[Caution[Any, Any]] = Caution(
    "micro-propeller",
    "Propellers of up to 3 in with four or more wide blades can have half as much thrust again: their thrust "
    "coefficients were measured at 0.32 to 0.335. Give the thrust coefficient, or bench thrust and bench speed.",
    when=lambda given, found: propeller.is_micro(given.diameter) & (given.blades >= 4),
    assumed="thrust_coefficient",
)
CATALOGUE_DATA: Final[Caution[Any, Any]] = Caution(
    "motor-assumed",
    "Motor resistance is an estimate, and full-throttle current depends on it. One point of a bench or of the maker's "
    "table (bench voltage, bench current, bench thrust, and bench speed if known) replaces it. Without one, "
    "stator diameter and stator height narrow it.",
    assumed="motor_resistance",
)
STATOR_INCOMPLETE: Final[Caution[Any, Any]] = Caution(
    "stator-incomplete",
    "The size of the stator requires both stator diameter and stator height: the one that was given was not used.",
    when=lambda given, found: np.isnan(given.stator_diameter) != np.isnan(given.stator_height),
)
BENCH_INCOMPLETE: Final[Caution[Any, Any]] = Caution(
    "bench-point-incomplete",
    "A bench reading was not used: voltage requires current and the reverse; shaft power requires the speed, and "
    "thrust the speed, or voltage and current that fit it.",
    when=lambda given, found: (
        (np.isnan(given.bench_voltage) != np.isnan(given.bench_current))
        | (np.isnan(given.bench_speed) & ~(np.isnan(given.bench_thrust) & np.isnan(given.bench_shaft_power)))
    ),
)
OTHER_SIZE: Final[Caution[Any, Any]] = Caution(
    "motor-extrapolated",
    "Defaults of motors are known for propellers of 4 to 6 in. For {diameter} they are rough guesses: give one bench "
    "point, or motor resistance (or the size of the stator) and no-load current.",
    when=lambda given, found: ~motor_constants.is_five_inch_class(given.diameter),
    assumed="no_load_current",
)
CAUTIONS: Final[tuple[Caution[Any, Any], ...]] = (
    CATALOGUE_DATA,
    OTHER_SIZE,
    STATOR_INCOMPLETE,
    OUTSIDE_REGRESSION,
    MICRO_PROPELLER,
    BENCH_INCOMPLETE,
)
STATIC: Final[Caution[Any, Any]] = Caution(
    "at-rest-only",
    "These figures are for a craft at rest. In flight, moving air unloads the propellers, so the current is lower.",
    severity="low",
)
DUTY_IS_NOT_STICK: Final[Caution[Any, Any]] = Caution(
    "duty-is-not-stick",
    "Throttle is the duty of the speed controller, not the position of the stick. On the benches of "
    "StrawsonDesign, the reference, signals of 24, 43, 62 and 81 % gave a duty of 34, 49, 66 and 84 %.",
    severity="low",
)

BENCH_IMPOSSIBLE: Final = (
    "The bench point is impossible: its voltage must be above the back-EMF at its speed, its current above the no-load "
    "current, and its shaft power above the ideal power of its thrust. Check the bench readings, kV and propeller, or "
    "leave the readings out."
)
BENCH_PARTLY_IMPOSSIBLE: Final = "the bench point is impossible"

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
