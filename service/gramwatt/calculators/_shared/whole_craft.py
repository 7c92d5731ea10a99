"""Motors, propellers and pack of a craft together, from the inputs of a calculator."""

from typing import Any

import numpy as np

from gramwatt.calculators._shared import drivetrain
from gramwatt.calculators._shared.cautions import pack_resistance, pack_voltage
from gramwatt.model import Array, BoolArray


def pack_of(given: Any) -> dict[str, Array]:
    """Return the pack as `craft.operate` takes it; nan where it is not known."""
    return {
        "open_circuit_voltage": pack_voltage(given),
        "pack_resistance": pack_resistance(given, given.pack_temperature, given.activation_energy),
        "avionics_power": given.avionics_power,
    }


def knows_pack(given: Any) -> BoolArray:
    """Return where (N,) voltage and resistance of the pack are known."""
    source = pack_of(given)
    return np.asarray(~np.isnan(source["open_circuit_voltage"] * source["pack_resistance"]))


def knows_craft(given: Any) -> BoolArray:
    """Return where (N,) motors, propellers and pack are all known."""
    drive = drivetrain.drive_of(given)
    known = drive.torque_factor * drive.thrust_factor * drive.motor_resistance * drive.no_load_current
    return np.asarray(knows_pack(given) & ~np.isnan(known * drive.speed_constant))
