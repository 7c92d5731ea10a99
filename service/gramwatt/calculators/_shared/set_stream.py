"""All sets of options that meet the requirements, in order, as NDJSON."""

import json
from collections.abc import Iterator
from functools import partial
from typing import Any, Final

import numpy as np

from gramwatt.blocks import map_blocks
from gramwatt.calculators._shared import option_slots, set_problem, set_search
from gramwatt.model import OutputFormat
from gramwatt.model.units import get_unit

LINES: Final = 4096
"""Lines that are written at once."""
DIGITS: Final = 12


def write_ranking(given: Any, found: Any) -> Iterator[bytes]:
    """Yield one line for each compared set that meets all requirements, the best first (N = 1)."""
    slots = option_slots.list_slots(given)
    problem = set_problem.make_problem(given, slots)
    if isinstance(problem, set_problem.NotCompared) or found.compared_count[0] == 0:
        return
    blocks = set_search.list_blocks(problem)
    best = [block.best for block in map_blocks(partial(set_search.compare_block, problem, set_search.BLOCK), blocks)]
    keys, electrical, light = (np.concatenate(each) for each in zip(*best, strict=True))
    order = set_search.sort_sets(set_search.Sets(keys, electrical, light))
    for start in range(0, len(order), LINES):
        rows = order[start : start + LINES]
        yield _write_lines(given, slots, problem.make_sets(electrical[rows], light[rows]), start)


def _write_lines(given: Any, slots: list[option_slots.Slot], sets: Any, start: int) -> bytes:
    found = set_search.assess_sets(given, slots, sets)
    columns = {
        "mass": found.mass / get_unit("g").scale,
        "mass_margin": found.margin / get_unit("g").scale,
        "endurance": found.endurance / get_unit("min").scale,
        "capped_thrust_to_weight": found.thrust_to_weight,
        "price": found.price,
    }
    numbers = [[float(f"{value:.{DIGITS}g}") for value in each.tolist()] for each in columns.values()]
    lines = []
    for at, options in enumerate(sets):
        values = {name: each[at] for name, each in zip(columns, numbers, strict=True)}
        chosen = {slot.name: slot.options[option] for slot, option in zip(slots, options.tolist(), strict=True)}
        row = {"rank": start + at + 1, "name": option_slots.describe(slots, options), **values, "options": chosen}
        lines.append(json.dumps(row, ensure_ascii=False) + "\n")
    return "".join(lines).encode()


FORMATS: Final[tuple[OutputFormat[Any, Any], ...]] = (
    OutputFormat(
        "ndjson",
        "application/x-ndjson",
        "All compared sets that meet the requirements, the best first: a JSON object on each line, in g and min.",
        write_ranking,
    ),
)
