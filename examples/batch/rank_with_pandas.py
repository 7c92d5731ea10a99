"""Which pack keeps the craft up longest? Ranked with pandas; needs pandas and pyarrow.

    python rank_with_pandas.py packs.csv --url http://127.0.0.1:8000

Two tables go to a running Gramwatt as Arrow and come back as Arrow: the power each all-up mass hovers with, then how
long each pack gives it. An invalid row gets an `error`, and the others go on. The craft and the packs
are invented; the results are calculations, so land by what you measure in flight.
"""

import argparse
import urllib.request

import pandas as pd
import pyarrow as pa

DRY_MASS = 182.0
"""The craft without its pack, g."""
ARROW = "application/vnd.apache.arrow.stream"


def fetch(url: str, calculator: str, table: pd.DataFrame, shared: str = "") -> pd.DataFrame:
    """Return the results for a table of inputs, row for row; inputs in ``shared`` hold for all rows."""
    sink = pa.BufferOutputStream()
    sent = pa.Table.from_pandas(table, preserve_index=False)
    with pa.ipc.new_stream(sink, sent.schema) as writer:
        writer.write_table(sent)
    request = urllib.request.Request(
        f"{url}/v1/{calculator}/batch?{shared}",
        sink.getvalue().to_pybytes(),
        {"Content-Type": ARROW, "Accept": ARROW},
    )
    with urllib.request.urlopen(request, timeout=60) as response, pa.ipc.open_stream(response) as reader:
        results: pd.DataFrame = reader.read_all().to_pandas()
        return results


def rank(url: str, packs: pd.DataFrame) -> pd.DataFrame:
    """Rank the packs, the longest flight first."""
    craft = pd.DataFrame({"name": packs["name"], "mass": DRY_MASS + packs["pack_mass"]})
    hover = fetch(url, "hover-power", craft, "diameter=3&motors=4")
    inputs = packs[["name", "cells", "capacity"]].assign(mean_power=hover["pack_power"])
    flights = fetch(url, "endurance", inputs)
    ranked = flights[["name", "endurance", "mean_current", "ended_by"]].assign(
        mean_power=hover["pack_power"], error=flights["error"]
    )
    return ranked.sort_values("endurance", ascending=False, kind="stable", ignore_index=True)


def main() -> None:
    """Read the packs, request the results, print them."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("packs")
    parser.add_argument("--url", default="http://127.0.0.1:8000")
    arguments = parser.parse_args()
    ranked = rank(arguments.url, pd.read_csv(arguments.packs))
    print(ranked.to_string(index=False, float_format=lambda value: f"{value:.2f}"))


if __name__ == "__main__":
    main()
