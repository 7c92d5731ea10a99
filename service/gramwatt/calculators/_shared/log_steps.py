"""Steps from the samples of a recording to charge and energy, for the working."""

from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np

from gramwatt.calculators._shared.log_results import TRAPEZOID
from gramwatt.calculators._shared.prepared_recording import group_by_recording
from gramwatt.model import Array, Quantity


@dataclass(frozen=True, slots=True)
class Steps:
    """Integrals over the recording as its sensors gave it."""

    recorded_charge: Annotated[
        Array, Quantity("mAh", "Charge by the current as recorded.", signed=True, method=TRAPEZOID)
    ]
    recorded_energy: Annotated[
        Array, Quantity("Wh", "Energy by voltage and current as recorded.", signed=True, method=TRAPEZOID)
    ]
    recorded_voltage: Annotated[Array, Quantity("V", "Average over time of the voltage as recorded.", method=TRAPEZOID)]


def find_steps(given: Any, _: Any) -> Steps:
    """Return the integrals (N,); nan without the channels that they need."""
    integrals = np.full((3, len(given.log)), np.nan)
    for rows, _recording, prepared in group_by_recording(
        given.log, given.longest_gap, given.start_time, given.end_time
    ):
        found = prepared.integrals
        if found.duration > 0:
            integrals[:, rows] = np.array([[found.current], [found.power], [found.voltage / found.duration]])
    return Steps(*integrals)
