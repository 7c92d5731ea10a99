"""Compare variations of one craft document: its packs with its propellers, and with parts left out.

    python vary_craft.py ../craft/craft.json variations.csv --url http://127.0.0.1:8000

Sends two tables to a running Gramwatt; needs Python 3.11 and nothing else. The rows of variations.csv choose a pack and
a propeller of the craft, which is sent once, in the query. In the other table each row has a craft of its own (NDJSON).
An invalid row gets an `error`, and the others go on. On the command line the first table is

    gramwatt batch full-throttle variations.csv --craft ../craft/craft.json

The craft is invented; the results are calculations: the makers' data come first.
"""

from __future__ import annotations

import argparse
import json
import urllib.parse
import urllib.request
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

Row = Mapping[str, Any]
FULL_THROTTLE = {
    "pack_current": "A",
    "loaded_cell_voltage": "V/cell",
    "discharge_rating_share": "% rating",
    "hover_power": "hover W",
}
MASS = {"total_mass": "g", "mass_margin": "g left", "verdict": "verdict"}


def fetch(url: str, calculator: str, table: bytes, media: str, **shared: str) -> list[Row]:
    """Return the results for a table of inputs, row for row; ``shared`` holds for all rows."""
    request = urllib.request.Request(
        f"{url}/v1/{calculator}/batch?{urllib.parse.urlencode(shared)}",
        table,
        {"Content-Type": media, "Accept": "application/x-ndjson"},
    )
    with urllib.request.urlopen(request, timeout=60) as response:
        return [json.loads(line) for line in response]


def compare_propellers(url: str, craft: Row, variations: bytes) -> list[Row]:
    """Return full throttle for each pack and propeller in a CSV table, with the craft in the query."""
    text = json.dumps(craft, separators=(",", ":"))
    return fetch(url, "full-throttle", variations, "text/csv", craft=text)


def leave_out_parts(craft: Row, names: Sequence[str]) -> Iterator[Row]:
    """Yield a row for the whole craft, and for the craft without each of some parts, with each pack."""
    for pack in craft["packs"]:
        yield {"name": f"{pack['name']}, all parts", "pack": pack["name"], "craft": craft}
        for name in names:
            less = {**craft, "parts": [part for part in craft["parts"] if part["name"] != name]}
            yield {"name": f"{pack['name']}, without {name}", "pack": pack["name"], "craft": less}


def compare_masses(url: str, craft: Row, names: Sequence[str]) -> list[Row]:
    """Return the mass and the margin of each of these crafts, the largest margin first."""
    table = "".join(f"{json.dumps(row)}\n" for row in leave_out_parts(craft, names)).encode()
    results = fetch(url, "mass-margin", table, "application/x-ndjson")
    return sorted(results, key=lambda row: -(row.get("mass_margin") or 0))


def print_table(rows: Sequence[Row], columns: Mapping[str, str]) -> None:
    """Print rows under their headings; a row without results shows its error."""
    lines = [list(columns.values())]
    for row in rows:
        cells = [row.get(name) for name in columns]
        lines.append([f"{cell:.4g}" if isinstance(cell, float) else f"{cell}" for cell in cells])
        if row.get("error"):
            lines[-1].append(row["error"]["detail"])
    widths = [max(len(line[at]) for line in lines) for at in range(len(columns))]
    for line in lines:
        print(
            "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=False)).rstrip(),
            *line[len(widths) :],
        )


def main() -> None:
    """Read the craft and the variations, request the results, print them."""
    here = Path(__file__).parent
    parser = argparse.ArgumentParser(description="Compare variations of one craft document.")
    parser.add_argument("craft", nargs="?", type=Path, default=here.parent / "craft" / "craft.json")
    parser.add_argument("variations", nargs="?", type=Path, default=here / "variations.csv")
    parser.add_argument("--url", default="http://127.0.0.1:8000", help="URL of Gramwatt (default: %(default)s)")
    parser.add_argument("--without", action="append", metavar="PART", help="part to leave out; repeatable")
    arguments = parser.parse_args()
    craft = json.loads(arguments.craft.read_bytes())
    propellers = compare_propellers(arguments.url, craft, arguments.variations.read_bytes())
    print_table(propellers, {"name": "pack and propeller", **FULL_THROTTLE})
    print()
    print_table(compare_masses(arguments.url, craft, arguments.without or ["camera"]), {"name": "craft", **MASS})


if __name__ == "__main__":
    main()
