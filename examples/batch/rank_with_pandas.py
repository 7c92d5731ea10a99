"""Which pack keeps the craft up longest? Ranked with pandas; needs pandas and pyarrow.

    python rank_with_pandas.py packs.csv --url http://127.0.0.1:8000

Two tables go to a running Gramwatt as Arrow and come back as Arrow: the power each all-up mass hovers with, then how
long each pack gives it. A row that cannot be answered says why in its `error`, and the others go on. The craft and the
packs are invented; the answers are calculations, so land by what you measure in flight.
"""

import argparse
import urllib.request

import pandas as pd
import pyarrow as pa

DRY_MASS = 182.0
"""The craft without its pack, g."""
ARROW = "application/vnd.apache.arrow.stream"


def ask(url: str, calculator: str, table: pd.DataFrame, shared: str = "") -> pd.DataFrame:
    """The answers to a table of questions, row for row; inputs in ``shared`` hold for all of them."""
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
        answers: pd.DataFrame = reader.read_all().to_pandas()
        return answers


def rank(url: str, packs: pd.DataFrame) -> pd.DataFrame:
    """The packs, the longest flight first."""
    craft = pd.DataFrame({"name": packs["name"], "mass": DRY_MASS + packs["pack_mass"]})
    hover = ask(url, "hover-power", craft, "diameter=3&motors=4")
    question = packs[["name", "cells", "capacity"]].assign(power=hover["power"])
    flown = ask(url, "endurance", question)
    ranked = flown[["name", "endurance", "mean_current", "ended_by"]].assign(power=hover["power"], error=flown["error"])
    return ranked.sort_values("endurance", ascending=False, kind="stable", ignore_index=True)


def main() -> None:
    """Read, ask, print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("packs")
    parser.add_argument("--url", default="http://127.0.0.1:8000")
    told = parser.parse_args()
    ranked = rank(told.url, pd.read_csv(told.packs))
    print(ranked.to_string(index=False, float_format=lambda value: f"{value:.2f}"))


if __name__ == "__main__":
    main()
