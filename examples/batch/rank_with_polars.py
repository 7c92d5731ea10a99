"""Which pack gives a punch without harm? Ranked with polars; needs nothing else.

    python rank_with_polars.py packs.csv --power 300 --url http://127.0.0.1:8000

One table goes to a running Gramwatt as Arrow and comes back as Arrow, with the cautions that concern each row. The
packs are invented; the results are calculations: the pack maker's figures come first.
"""

import argparse
import io
import urllib.request

import polars as pl

ARROW = "application/vnd.apache.arrow.stream"


def fetch(url: str, calculator: str, table: pl.DataFrame, shared: str = "") -> pl.DataFrame:
    """Return the results for a table of inputs, row for row; inputs in ``shared`` hold for all rows."""
    body = io.BytesIO()
    table.write_ipc_stream(body, compat_level=pl.CompatLevel.oldest())
    request = urllib.request.Request(
        f"{url}/v1/{calculator}/batch?{shared}", body.getvalue(), {"Content-Type": ARROW, "Accept": ARROW}
    )
    with urllib.request.urlopen(request, timeout=60) as response:
        return pl.read_ipc_stream(io.BytesIO(response.read()))


def rank(url: str, packs: pl.DataFrame, power: float) -> pl.DataFrame:
    """Rank the packs, the one that sags least first; those that cannot give the power last, with the reason."""
    inputs = packs.select("name", "cells", "capacity", "discharge_rating")
    punch = fetch(
        url, "pack-current", inputs, f"pack_power={power}&state_of_charge=80&units=discharge_rating_share:%25"
    )
    wanted = punch.select("name", "pack_current", "loaded_cell_voltage", "discharge_rating_share", "cautions", "error")
    return wanted.sort("loaded_cell_voltage", descending=True, nulls_last=True, maintain_order=True)


def main() -> None:
    """Read the packs, request the results, print them."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("packs")
    parser.add_argument("--power", type=float, default=300.0, help="W")
    parser.add_argument("--url", default="http://127.0.0.1:8000")
    arguments = parser.parse_args()
    ranked = rank(arguments.url, pl.read_csv(arguments.packs), arguments.power)
    with pl.Config(tbl_rows=-1, tbl_cols=-1, tbl_hide_dataframe_shape=True, tbl_width_chars=160, fmt_str_lengths=60):
        print(ranked)


if __name__ == "__main__":
    main()
