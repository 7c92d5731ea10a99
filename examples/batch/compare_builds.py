"""Compare the builds in a table: how long each flies, what its pack must give, and whether it is under its limit.

    python compare_builds.py --url http://127.0.0.1:8000 builds.csv

Asks a running Gramwatt three questions a build over HTTP; needs Python 3.11 and nothing else. A cell of the table may
carry a unit ("1.3 Ah") and an uncertainty ("612 ± 2 g"); an empty cell takes the service's default. What is wrong with
one build is told in its row, and the others go on. Exit status: 0 all answered, 1 some row was not, 2 nothing to ask.
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
COLUMNS = ("name", "cells", "capacity", "discharge_rating", "power", "burst_power", *PARTS, "limit")
HEADINGS = ("build", "min", "ended by", "A", "V/cell", "% rating", "g", "g left", "verdict", "note")
NUMERIC = {"min", "A", "V/cell", "% rating", "g", "g left"}
Cautions = dict[str, dict[str, str]]
"""By code: each build's text, for some name its figures."""


class Refused(Exception):
    """The service's own words on why a question has no answer."""


def ask(url: str, calculator: str, inputs: dict[str, str]) -> dict[str, Any]:
    """The answer to one question. Raises Refused, or OSError where nobody answers."""
    query = urllib.parse.urlencode({name: value for name, value in inputs.items() if value})
    try:
        with urllib.request.urlopen(f"{url}/v1/{calculator}?{query}", timeout=30) as response:
            answer: dict[str, Any] = json.load(response)
            return answer
    except urllib.error.HTTPError as error:
        with error:
            if "json" not in error.headers.get("Content-Type", ""):
                raise
            raise Refused(f"{calculator}: {json.load(error)['detail']}") from None


def figure(answer: dict[str, Any], result: str, decimals: int) -> str:
    """A result as it stands in the table; a dash where the service has none."""
    value = answer["results"][result]
    return "-" if value is None else f"{value:.{decimals}f}"


def compare(url: str, build: dict[str, str], cautions: Cautions) -> dict[str, str]:
    """One row of the table. Whatever cannot be answered is a note in it; cautions are gathered for the foot."""
    row = dict.fromkeys(HEADINGS, "-") | {"build": build["name"], "note": ""}
    pack = {name: build[name] for name in ("cells", "capacity")}
    questions = {
        "endurance": pack | {"power": build["power"]},
        "pack-current": pack | {"power": build["burst_power"], "discharge_rating": build["discharge_rating"]},
        "mass-margin": {"masses": ",".join(build[part] for part in PARTS if build[part]), "limit": build["limit"]},
    }
    notes = []
    for calculator, inputs in questions.items():
        try:
            answer = ask(url, calculator, inputs)
        except Refused as refused:
            notes.append(str(refused))
            continue
        for caution in answer["cautions"]:
            if "results" not in caution:
                cautions.setdefault(caution["code"], {})[build["name"]] = caution["text"]
            elif caution["code"] != "needs-input":
                notes.append(f"{calculator}: {caution['text']}")
        if calculator == "endurance":
            ended_by = answer["results"]["ended_by"] or "-"
            row |= {"min": figure(answer, "endurance", 1), "ended by": ended_by}
        elif calculator == "pack-current":
            row |= {
                "A": figure(answer, "current", 1),
                "V/cell": figure(answer, "loaded_cell_voltage", 2),
                "% rating": figure(answer, "rating_used", 0),
            }
        else:
            row |= {"g": figure(answer, "total", 1), "g left": figure(answer, "margin", 1)}
            row["verdict"] = answer["results"]["verdict"]
    return row | {"note": " | ".join(notes)}


def table(rows: list[dict[str, str]]) -> str:
    """The rows under their headings, numbers to the right."""
    lines = [dict(zip(HEADINGS, HEADINGS, strict=True)), *rows]
    widths = {name: max(len(line[name]) for line in lines) for name in HEADINGS}
    return "\n".join(
        "  ".join(
            line[name].rjust(widths[name]) if name in NUMERIC else line[name].ljust(widths[name]) for name in HEADINGS
        ).rstrip()
        for line in lines
    )


def foot(cautions: Cautions) -> str:
    """The cautions, each once: in general, or in the words for the first build that it concerns."""
    lines = []
    for texts in cautions.values():
        (name, text), *others = texts.items()
        if len(set(texts.values())) > 1 or not others:
            text = f"{name}: {text}" + (f" Likewise: {', '.join(other for other, _ in others)}." if others else "")
        lines.append(f"! {text}")
    return "\n".join(lines)


def read(path: Path) -> list[dict[str, str]]:
    """The builds of a CSV file. Raises ValueError where a column is missing."""
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
    parser.add_argument("--url", default="http://127.0.0.1:8000", help="where Gramwatt answers (default: %(default)s)")
    arguments = parser.parse_args()
    url, cautions = arguments.url.rstrip("/"), Cautions()
    try:
        rows = [compare(url, build, cautions) for build in read(arguments.builds)]
    except (OSError, ValueError, http.client.HTTPException) as error:
        print(f"{error} (asking {url})", file=sys.stderr)
        return 2
    print(table(rows))
    if cautions:
        print(f"\n{foot(cautions)}")
    return 1 if any(row["note"] for row in rows) else 0


if __name__ == "__main__":
    sys.exit(main())
