"""What a recorded flight used, as results."""

from typing import Annotated, Final, TypeAlias

from gramwatt.calculators._shared import logs
from gramwatt.model import (
    Array,
    Quantity,
    StringArray,
    Table,
    Text,
)
from gramwatt.physics.loaded_pack import MAX_GROUPS
from gramwatt.physics.statistics import MAX_EXAMINED_SAMPLES

TRAPEZOID: Final = "trapezoidal rule over the samples in order of time; gaps are left out"

BY_TIME: Final = (
    "percentile by time in flight, each sample weighted by half the steps beside it; more than "
    f"{MAX_EXAMINED_SAMPLES:,} samples are thinned evenly"
)

RESISTANCE: Final = (
    "least squares of voltage, less the rested voltage at the charge left (where cells and capacity are given), on "
    f"current, with a linear drift; more than {MAX_GROUPS:,} samples are averaged in as many groups"
)

LANDING: Final = "when the charge reached the reserve, else extrapolated at the mean current"

ENERGY: Final = Quantity(
    "Wh",
    "Energy drawn from the pack.",
    label="Energy used",
    signed=True,
    formula="current_scale_used * voltage_scale * (recorded_energy - current_offset * recorded_voltage * duration)",
)
CHARGE: Final = Quantity(
    "mAh",
    "Charge drawn from the pack.",
    label="Charge used",
    signed=True,
    formula="current_scale_used * (recorded_charge - current_offset * duration)",
)
DURATION: Final = Quantity(
    "min", "Recorded time without gaps.", label="Recorded time", method="sum of the steps that are no gaps"
)
MEAN_POWER: Final = Quantity(
    "W", "Average power.", label="Average power", signed=True, formula="energy_used / duration"
)
POWER_P95: Final = Quantity(
    "W", "Power exceeded 5 % of the time.", label="Power, 95th percentile", signed=True, method=BY_TIME
)
PEAK_POWER: Final = Quantity("W", "Maximum power.", signed=True, method="maximum of voltage × current")
PEAK_CURRENT: Final = Quantity("A", "Maximum current.", signed=True, method="highest sample, corrected")
LOWEST_CELL_VOLTAGE: Final = Quantity(
    "V",
    "Lowest loaded cell voltage.",
    method="lowest recorded cell voltage, else lowest voltage over cells",
    needs=("cells",),
)
USED: Final = Quantity(
    "%",
    "Share of capacity used.",
    label="Capacity used",
    signed=True,
    formula="charge_used / capacity",
    needs=("capacity",),
)
LANDING_TIME: Final = Quantity(
    "min", "Time at which the reserve is reached.", label="Time to reserve", method=LANDING, needs=("capacity",)
)
EnergyUsed: TypeAlias = Annotated[Array, ENERGY]
ChargeUsed: TypeAlias = Annotated[Array, CHARGE]
Duration: TypeAlias = Annotated[Array, DURATION]
MeanPower: TypeAlias = Annotated[Array, MEAN_POWER]
PeakPower: TypeAlias = Annotated[Array, PEAK_POWER]
PeakCurrent: TypeAlias = Annotated[Array, PEAK_CURRENT]
LowestCellVoltage: TypeAlias = Annotated[Array, LOWEST_CELL_VOLTAGE]
PackResistance: TypeAlias = Annotated[
    Array, Quantity("mohm", "Resistance of the pack with its leads.", method=RESISTANCE)
]
ChargeUsedShare: TypeAlias = Annotated[Array, USED]
EndStateOfCharge: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Charge left at the end.",
        label="Charge left",
        signed=True,
        formula="start_state_of_charge - charge_used_share",
        needs=("capacity",),
    ),
]
LandingTime: TypeAlias = Annotated[Array, LANDING_TIME]
ExpectedEndurance: TypeAlias = Annotated[
    Array,
    Quantity(
        "min",
        "Flight time by the endurance calculator at this average power.",
        label="Expected flight time",
        method="as in endurance, with the resistance found here, else the typical one",
        needs=("cells", "capacity"),
    ),
]
MeanCurrent: TypeAlias = Annotated[
    Array, Quantity("A", "Average current.", signed=True, formula="charge_used / duration")
]
MeanVoltage: TypeAlias = Annotated[
    Array, Quantity("V", "Average voltage, weighted by charge.", formula="energy_used / charge_used")
]
MedianPower: TypeAlias = Annotated[
    Array, Quantity("W", "Power exceeded half of the time.", signed=True, method=BY_TIME)
]
P95Power: TypeAlias = Annotated[Array, POWER_P95]
MedianCurrent: TypeAlias = Annotated[
    Array, Quantity("A", "Current exceeded half of the time.", signed=True, method=BY_TIME)
]
P95Current: TypeAlias = Annotated[
    Array,
    Quantity("A", "Current exceeded 5 % of the time.", label="Current, 95th percentile", signed=True, method=BY_TIME),
]
LowestVoltage: TypeAlias = Annotated[
    Array,
    Quantity("V", "Lowest loaded pack voltage.", label="Lowest pack voltage", method="lowest sample, corrected"),
]
LowestVoltageTime: TypeAlias = Annotated[
    Array,
    Quantity(
        "s",
        "Time of the lowest pack voltage from the first sample.",
        label="Time of lowest voltage",
        method="time of that sample",
    ),
]
MeanThrottle: TypeAlias = Annotated[Array, Quantity("%", "Average throttle.", signed=True, method=TRAPEZOID)]
PeakThrottle: TypeAlias = Annotated[Array, Quantity("%", "Maximum throttle.", signed=True, method="highest sample")]
CurrentScaleUsed: TypeAlias = Annotated[
    Array,
    Quantity(
        "1",
        "True over recorded current.",
        label="Current sensor scale used",
        formula=("charge_put_back / (recorded_charge - current_offset * duration)", "current_scale"),
    ),
]
MeanPowerDeviationShare: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Average power over its prediction, less 1.",
        label="Power off prediction",
        signed=True,
        formula="mean_power / predicted_mean_power - 1",
        needs=("predicted_mean_power",),
    ),
]
EnduranceDeviationShare: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Landing time over its prediction, less 1.",
        label="Flight time off prediction",
        at_least=-100,
        formula="landing_time / predicted_endurance - 1",
        needs=("predicted_endurance", "capacity"),
    ),
]
PeakCurrentDeviationShare: TypeAlias = Annotated[
    Array,
    Quantity(
        "%",
        "Peak current over its prediction, less 1.",
        label="Current off prediction",
        signed=True,
        formula="peak_current / predicted_peak_current - 1",
        needs=("predicted_peak_current",),
    ),
]
SampleInterval: TypeAlias = Annotated[
    Array, Quantity("s", "Usual time between samples.", label="Usual sample interval", method="median of the steps")
]
GapDuration: TypeAlias = Annotated[
    Array, Quantity("s", "Time in gaps, left out.", label="Time in gaps", method="sum of the steps that are gaps")
]
UnusedColumns: TypeAlias = Annotated[
    StringArray, Text("Columns of the recording that were not used.", max_length=300, method="their names")
]
PunchOuts: TypeAlias = Annotated[
    logs.PunchOut,
    Table(logs.PunchOut, "Bursts of high current, in order of time.", label="Punch-outs", min_length=0, max_length=200),
]
SamplesLeftOutByReason: TypeAlias = Annotated[
    logs.LeftOutSamples,
    Table(logs.LeftOutSamples, "Samples left out, by reason.", label="Samples left out", min_length=0, max_length=60),
]
