"""A client that sends one table again and again: `python -m benchmarks.table_client PORT FILE SECONDS`."""

from __future__ import annotations

import json
import socket
import sys
import time
from collections import Counter
from pathlib import Path

from benchmarks.exchange import Broken, exchange, post
from benchmarks.pack_inputs import PATH
from benchmarks.table_files import MEDIA


def main(port: str, file: str, seconds: str) -> None:
    """Print the statuses after the first response, and again at the end."""
    body = Path(file).read_bytes()
    head = post(f"{PATH}/batch", MEDIA["csv"], MEDIA["csv"], len(body))
    statuses: Counter[str] = Counter()
    end = None
    while end is None or time.perf_counter() < end:
        try:
            with socket.create_connection(("127.0.0.1", int(port))) as connection:
                statuses[str(exchange(connection, [head, body]).status)] += 1
        except (Broken, OSError) as error:
            statuses[str(error)[:80]] += 1
        if end is None:
            end = time.perf_counter() + float(seconds)
            print(json.dumps(statuses), flush=True)
    print(json.dumps(statuses), flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
