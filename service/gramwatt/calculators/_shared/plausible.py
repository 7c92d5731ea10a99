"""Ranges outside of which an input is questioned as a slip of its unit, in the declared units.

All are rules of thumb, no source: from the smallest indoor craft to lifters of tens of kilograms, with a margin.
"""

from typing import Final

ALL_UP_MASS: Final = (5, 50_000)
"""[g]"""
DRY_MASS: Final = (2, 50_000)
"""[g]"""
PACK_MASS: Final = (2, 20_000)
"""[g]"""
CAPACITY: Final = (20, 100_000)
"""[mAh]"""
CELL_RESISTANCE: Final = (0.1, 1000)
"""[mohm]"""
PACK_RESISTANCE: Final = (0.5, 5000)
"""[mohm]"""
POWER: Final = (0.5, 30_000)
"""[W]"""
