"""Compare the builds in a table: how long each flies, what its pack must give, and whether it is under its limit.

    python compare_builds.py --url http://127.0.0.1:8000 builds.csv

Sends three requests for each build to a running Gramwatt; needs Python 3.11 and nothing else. A cell of the table may
have a unit ("1.3 Ah") and an uncertainty ("612 ± 2 g"); an empty cell takes the service's default. A problem with one
build is reported in its row, and the others go on. Exit status: 0 all rows are complete, 1 some are not, 2 no table.
The builds in builds.csv are invented.
"""

from __future__ import annotations

import argparse
import csv
import http.client
import json
import sys
import urllib.error
import urllib.parse
import urllib.request
from pathlib import Path
from typing import Any

PARTS = ("frame", "motors", "electronics", "camera", "pack")
COLUMNS = ("name", "cells", "capacity", "discharge_rating", "mean_power", "burst_power", *PARTS, "mass_limit")
HEADINGS = ("build", "min", "ended by", "A", "V/cell", "% rating", "g", "g left", "verdict", "note")
NUMERIC = {"min", "A", "V/cell", "% rating", "g", "g left"}
Cautions = dict[str, dict[str, str]]
"""By code: each build's text, for some name its figures."""


class RequestError(Exception):
    """The service's own text on why a request has no result."""


def fetch(url: str, calculator: str, inputs: dict[str, str]) -> dict[str, Any]:
    """Return the response of a calculator. Raises RequestError, or OSError where there is no service."""
    query = urllib.parse.urlencode({name: value for name, value in inputs.items() if value})
    try:
        with urllib.request.urlopen(f"{url}/v1/{calculator}?{query}", timeout=30) as response:
            response_body: dict[str, Any] = json.load(response)
            return response_body
    except urllib.error.HTTPError as error:
        with error:
            if "json" not in error.headers.get("Content-Type", ""):
                raise
            raise RequestError(f"{calculator}: {json.load(error)['detail']}") from None


def format_result(response_body: dict[str, Any], result: str, decimals: int) -> str:
    """Format a result for the table; a dash where the service has none."""
    value = response_body["results"][result]
    return "-" if value is None else f"{value:.{decimals}f}"


def compare(url: str, build: dict[str, str], cautions: Cautions) -> dict[str, str]:
    """Return one row of the table. A failed request becomes a note in it; cautions are collected for the footer."""
    row = dict.fromkeys(HEADINGS, "-") | {"build": build["name"], "note": ""}
    pack = {name: build[name] for name in ("cells", "capacity")}
    requests = {
        "endurance": pack | {"mean_power": build["mean_power"]},
        "pack-current": pack | {"pack_power": build["burst_power"], "discharge_rating": build["discharge_rating"]},
        "mass-margin": {
            "masses": ",".join(build[part] for part in PARTS if build[part]),
            "mass_limit": build["mass_limit"],
        },
    }
    notes = []
    for calculator, inputs in requests.items():
        try:
            response_body = fetch(url, calculator, inputs)
        except RequestError as error:
            notes.append(str(error))
            continue
        for caution in response_body["cautions"]:
            if "results" not in caution:
                cautions.setdefault(caution["code"], {})[build["name"]] = caution["text"]
            elif caution["code"] != "needs-input":
                notes.append(f"{calculator}: {caution['text']}")
        if calculator == "endurance":
            ended_by = response_body["results"]["ended_by"] or "-"
            row |= {"min": format_result(response_body, "endurance", 1), "ended by": ended_by}
        elif calculator == "pack-current":
            row |= {
                "A": format_result(response_body, "pack_current", 1),
                "V/cell": format_result(response_body, "loaded_cell_voltage", 2),
                "% rating": format_result(response_body, "discharge_rating_share", 0),
            }
        else:
            row |= {
                "g": format_result(response_body, "total_mass", 1),
                "g left": format_result(response_body, "mass_margin", 1),
            }
            row["verdict"] = response_body["results"]["verdict"]
    return row | {"note": " | ".join(notes)}


def table(rows: list[dict[str, str]]) -> str:
    """Format the rows under their headings, numbers to the right."""
    lines = [dict(zip(HEADINGS, HEADINGS, strict=True)), *rows]
    widths = {name: max(len(line[name]) for line in lines) for name in HEADINGS}
    return "\n".join(
        "  ".join(
            line[name].rjust(widths[name]) if name in NUMERIC else line[name].ljust(widths[name]) for name in HEADINGS
        ).rstrip()
        for line in lines
    )


def footer(cautions: Cautions) -> str:
    """Format the cautions, each once: in general, or in the words for the first build that it concerns."""
    lines = []
    for texts in cautions.values():
        (name, text), *others = texts.items()
        if len(set(texts.values())) > 1 or not others:
            text = f"{name}: {text}" + (
                f" The same holds for: {', '.join(other for other, _ in others)}." if others else ""
            )
        lines.append(f"! {text}")
    return "\n".join(lines)


def read(path: Path) -> list[dict[str, str]]:
    """Read the builds of a CSV file. Raises ValueError where a column is missing."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        reader = csv.DictReader(file, restval="")
        missing = [name for name in COLUMNS if name not in (reader.fieldnames or ())]
        if missing:
            raise ValueError(f"{path}: no column named {', '.join(missing)} (columns are separated by commas)")
        return [{name: build[name].strip() for name in COLUMNS} for build in reader]


def main() -> int:
    """Read the arguments and print the table."""
    parser = argparse.ArgumentParser(description="Compare builds: flying time, pack current and mass margin.")
    parser.add_argument("builds", nargs="?", type=Path, default=Path(__file__).with_name("builds.csv"))
    parser.add_argument("--url", default="http://127.0.0.1:8000", help="URL of Gramwatt (default: %(default)s)")
    arguments = parser.parse_args()
    url, cautions = arguments.url.rstrip("/"), Cautions()
    try:
        rows = [compare(url, build, cautions) for build in read(arguments.builds)]
    except (OSError, ValueError, http.client.HTTPException) as error:
        print(f"{error} (service: {url})", file=sys.stderr)
        return 2
    print(table(rows))
    if cautions:
        print(f"\n{footer(cautions)}")
    return 1 if any(row["note"] for row in rows) else 0


if __name__ == "__main__":
    sys.exit(main())
