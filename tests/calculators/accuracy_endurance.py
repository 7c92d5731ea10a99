"""Flight time at constant power against simulated cells."""

from pathlib import Path

import numpy as np

from accuracy import discharge
from accuracy.page import Row, Section


def accuracy(folder: Path) -> Section:
    """Return the section of this calculator."""
    gap = np.abs(discharge.curves(folder)).max() * 1e3
    energies = discharge.activation_energies()
    return Section(
        "Packs and flying time",
        (
            Row(
                "Time at constant power",
                "PyBaMM 26.10.1.1, equivalent circuit with the same curve and resistance",
                discharge.same_circuit(),
                "the sums are right",
            ),
            Row(
                "Time at constant power, a power cell",
                "PyBaMM, full electrochemical cell (Ecker2015), in half an hour and in one",
                discharge.whole_cells(power_cell=True),
                "resistance known",
            ),
            Row(
                "Time at constant power, energy cells",
                "the same (Marquis2019, Ai2020, Chen2020), in one hour",
                discharge.whole_cells(power_cell=False),
                "resistance known",
            ),
            Row(
                "Resistance at 0 and 40 °C from that at 25 °C",
                "PyBaMM, four cells, each with its own activation energy",
                discharge.resistance_by_temperature(),
            ),
        ),
        (
            "Rested voltages are the tables of three simulated cells (Ai2020, Chen2020, Prada2013), within "
            f"{max(gap, 0.1):.1f} mV. A cell of another make differs by tens of millivolts. LiHV is an extrapolation; "
            "the lowest fifth of LiFePO4 reads up to 0.2 V low.",
            "**Weak: nobody has compared a flying time with a flight.** Cells here are simulated, their resistance "
            "known. The time is always a little long. Above some 3 C it is far too long for energy cells.",
            "**Weak: resistance that was not measured.** The default of 15 mΩ Ah is known to a factor of "
            "1.8: it fits two peak currents of one small craft (rule of thumb, no source).",
            f"In the cold: activation energies of four cells run from {energies[0]:.0f} to {energies[-1]:.0f} kJ/mol "
            "against a default of 20.",
        ),
    )
