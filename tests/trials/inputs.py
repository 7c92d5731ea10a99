"""The hostile inputs: each costs little to send, and cost an earlier version of the service much."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import pyarrow as pa

from gramwatt.engine import registry
from trials.requests import (
    ARROW,
    CSV,
    JSON,
    MULTIPART,
    NDJSON,
    Request,
    arrow_stream,
    beside,
    dictionary_column,
    get,
    null_column,
    post,
    post_json,
    raw_column,
    text_column,
)

REJECTED: Final = (400, 413, 414, 415, 422)
ANY: Final = (200, *REJECTED)
SAMPLES: Final = {"time": [0, 1], "voltage": [16, 16], "current": [8, 8]}
VIDEO: Final[dict[str, Any]] = {"log": SAMPLES, "cells": 4, "capacity": 850}
PACK: Final = {"cells": 6, "capacity": 1300}
TABLE: Final = "/v1/pack-energy/batch"
ENDURANCE: Final = "/v1/endurance/sweep?cells=6"
LOG: Final = "/v1/flight-log/log?cells=4&capacity=850"
SPACES: Final = " " * 100_000


@dataclass(frozen=True, slots=True)
class HostileInput:
    """A hostile input, and the statuses that a response to it may have."""

    name: str
    build: Callable[[], Request]
    statuses: tuple[int, ...] = REJECTED


def table(
    name: str, build: Callable[[], bytes], content_type: str, statuses: tuple[int, ...] = REJECTED
) -> HostileInput:
    """Make a hostile input of a table."""
    return HostileInput(name, lambda: post(TABLE + "?keep=note", build(), content_type), statuses)


def column(name: str, kind: pa.DataType, values: list[int], width: int) -> HostileInput:
    """Make a hostile input of an Arrow column whose values are invalid."""
    return table(name, lambda: beside(PACK, "note", raw_column(kind, values, width)), ARROW, ANY)


def text_inputs() -> list[HostileInput]:
    """List inputs against parsers of text and JSON."""
    header = b"time" + b" " * 60_000 + b"x,voltage,current\n0,16,8\n1,16,8\n"
    keys = "".join(json.dumps({**PACK, f"k{row}": 1}) + "\n" for row in range(40_000))
    return [
        HostileInput("spaces in a recording's header", lambda: post(LOG, header, CSV)),
        HostileInput("spaces before a recording's unit", lambda: post(LOG, header.replace(b"x,", b"[s],"), CSV), ANY),
        table("spaces in a table's header", lambda: b"cells" + b" " * 250_000 + b"x,capacity\n6,1300\n", CSV),
        table("spaces in a cell", lambda: f"cells,capacity\n6,1 x{SPACES}y\n".encode(), CSV, ANY),
        HostileInput("spaces in text", lambda: post_json("/v1/pack-energy", {**PACK, "capacity": f"1 x{SPACES}y"})),
        HostileInput("spaces after ±", lambda: post_json("/v1/pack-energy", {**PACK, "capacity": f"1 ±{SPACES}x"})),
        HostileInput("digits as text", lambda: post_json("/v1/pack-energy", {**PACK, "capacity": "1" * 100_000 + "x"})),
        HostileInput("digits", lambda: post("/v1/pack-energy", b'{"cells":' + b"9" * 900_000 + b"}", JSON)),
        HostileInput("a deep array", lambda: post("/v1/pack-energy", b"[" * 100_000, JSON)),
        HostileInput("a recording of commas", lambda: post(LOG, b"," * 8_000_000, CSV)),
        HostileInput("a recording of line feeds", lambda: post(LOG, b"\n" * 8_000_000, CSV)),
        table("a table of commas", lambda: b"," * 8_000_000, CSV),
        table("a table of quotes", lambda: b'"' * 8_000_001, CSV),
        table("a table of line feeds", lambda: b"cells,capacity\n" + b"\n" * 4_000_000, CSV, ANY),
        table("a key for each row", lambda: keys.encode(), NDJSON, ANY),
        table("a deep cell", lambda: b'{"cells":' + b"[" * 100_000 + b"}\n", NDJSON, ANY),
        HostileInput("4,000 unknown names", lambda: post_json("/v1/pack-energy", unknown_names(4_000))),
        HostileInput("60,000 unknown names", lambda: post_json("/v1/full-throttle", unknown_names(60_000))),
        HostileInput(
            "a million unknown names",
            lambda: post_json("/v1/flight-log", {"log": SAMPLES, **unknown_names(1_000_000, 20)}),
        ),
        HostileInput(
            "unknown names in a query", lambda: get("/v1/pack-energy?" + "&".join(f"a{n}=1" for n in range(1000)))
        ),
        HostileInput("unknown units", lambda: get("/v1/pack-energy?units=" + ",".join(["x:y"] * 1500))),
    ]


def arrow_inputs() -> list[HostileInput]:
    """List inputs against the decoder of Arrow streams."""
    return [
        table("null column of 10^12 rows", lambda: null_column("cells", 10**12), ARROW),
        table(
            "compressed text",
            lambda: beside(PACK, "note", pa.array(["x" * 100] * 2_000_000), compression="zstd"),
            ARROW,
            ANY,
        ),
        table(
            "compressed batches",
            lambda: beside(PACK, "note", pa.array(["x" * 60_000_000]), compression="zstd", batches=80),
            ARROW,
            ANY,
        ),
        table("dictionary of one text", lambda: beside(PACK, "note", dictionary_column(16_000, 100_000)), ARROW, ANY),
        table("empty batches", lambda: beside(PACK, "note", pa.array([], pa.int8()), batches=20_000), ARROW, ANY),
        table("runs of 10^12 rows", lambda: run_lengths(10**12), ARROW, ANY),
        column("dates out of range", pa.date32(), [2**31 - 1, -(2**31)], 4),
        column("milliseconds out of range", pa.date64(), [2**63 - 1, -(2**63)], 8),
        column("timestamps out of range", pa.timestamp("s"), [2**63 - 1, -(2**63)], 8),
        column("times of day out of range", pa.time64("ns"), [2**63 - 1, -(2**63)], 8),
        column("durations", pa.duration("s"), [2**63 - 1, -(2**63)], 8),
        column("an unknown time zone", pa.timestamp("us", "Nowhere/At all"), [0, 2**63 - 1], 8),
        column("a line feed in a time zone", pa.timestamp("us", "UTC\nERROR forged"), [0, 2**63 - 1], 8),
        column("decimals out of range", pa.decimal256(76, 0), [10**76 - 1, -(2**255)], 32),
        column("intervals", pa.month_day_nano_interval(), [2**127 - 1], 16),
        table("text of invalid UTF-8", lambda: beside(PACK, "note", text_column([0, 2], b"\xff\xfe")), ARROW, ANY),
    ]


def work_inputs() -> list[HostileInput]:
    """List inputs of a few bytes that ask for much work."""
    samples = {"time": list(range(4000)), "voltage": [16.0] * 4000, "current": [8.0] * 4000}
    flight = {"name": "x", "cells": 4, "capacity": 850, "mass": 249, "log": samples}
    long = {**VIDEO, "video_end_time": 4166, "frame_rate": "60"}
    return [
        HostileInput("250,000 frames", lambda: post_json("/v1/overlay-cues", long), ANY),
        HostileInput("250,000 captions", lambda: post_json("/v1/overlay-cues?format=vtt", long), ANY),
        HostileInput(
            "250,000 frames in each row",
            lambda: post("/v1/overlay-cues/batch", (json.dumps(long) + "\n").encode() * 5, NDJSON),
            ANY,
        ),
        HostileInput("50 recordings", lambda: post_json("/v1/flight-comparison", {"flights": [flight] * 50}), ANY),
        HostileInput(
            "a picture of wide letters",
            lambda: post_json(
                "/v1/overlay-cues?format=png&picture_time=0.5&video_width=8192&video_height=4320",
                {**VIDEO, "caption_template": "W" * 199},
            ),
            ANY,
        ),
        HostileInput(
            "a large chart",
            lambda: get("/v1/endurance/chart?cells=6&capacity=1300&mean_power=200&scale=4&format=png"),
            ANY,
        ),
        HostileInput(
            "a grid of 500 x 500",
            lambda: get(
                ENDURANCE + "&vary=mean_power&from=10&to=400&count=500&vary=capacity&from=900&to=1500&count=500"
            ),
            ANY,
        ),
        HostileInput("a grid of builds", lambda: sweep("build", "kv", "pitch"), ANY),
        HostileInput("the best of a grid of builds", lambda: sweep("build", "kv", "pitch", "?best=1"), ANY),
        HostileInput(
            "3,000 masses", lambda: get("/v1/mass-margin?mass_limit=250&masses=" + ",".join(["1"] * 3000)), ANY
        ),
        HostileInput("10^6 sets of options", lambda: search_sets(6), ANY),
        HostileInput("10^12 sets of options", lambda: search_sets(12), ANY),
        HostileInput("rows of uncertain inputs", lambda: post(TABLE, uncertain_rows(200_000).encode(), CSV), ANY),
    ]


def http_inputs() -> list[HostileInput]:
    """List inputs that use HTTP in rare ways."""
    part = b"--x\r\nContent-Disposition: form-data\r\n\r\n1\r\n--x--\r\n"
    parts = b'--x\r\nContent-Disposition: form-data; name="cells"\r\n\r\n4\r\n' * 20_000 + b"--x--\r\n"
    return [
        HostileInput("absolute form", lambda: get("http://localhost/calculators/pack-energy"), (200,)),
        HostileInput(
            "a part without a name", lambda: post("/calculators/pack-energy", part, MULTIPART), (200, 400, 422)
        ),
        HostileInput("20,000 parts", lambda: post("/calculators/pack-energy", parts, MULTIPART), ANY),
        HostileInput(
            "a part's header without end",
            lambda: post("/calculators/pack-energy", b"--x\r\nA: " + b"y" * 900_000, MULTIPART),
            ANY,
        ),
        HostileInput("a query of separators", lambda: get("/v1/pack-energy?" + "&" * 7_900), ANY),
        HostileInput("Accept of separators", lambda: Request("GET", "/v1", None, {"Accept": ",;" * 4_000}), (200, 406)),
        HostileInput(
            "many entity tags",
            lambda: Request("GET", "/v1/units", None, {"If-None-Match": 'W/"x",' * 1_100}),
            (200, 304),
        ),
    ]


def unknown_names(count: int, width: int = 8) -> dict[str, int]:
    """Make inputs of unknown names."""
    return {f"n{number:0{width}d}": 1 for number in range(count)}


def uncertain_rows(count: int) -> str:
    """Write a table in which each input of each row has an uncertainty."""
    return "cells,capacity\n" + "6,1300 ± 20\n" * count


def sweep(calculator: str, first: str, second: str, query: str = "") -> Request:
    """Build a sweep of two inputs of a calculator's first example, 20 values each."""
    given: dict[str, Any] = dict(registry.get(calculator).examples[0].given)
    vary = {name: {"from": given[name], "to": 1.5 * given[name], "count": 20} for name in (first, second)}
    for name in vary:
        del given[name]
    return post_json(f"/v1/{calculator}/sweep{query}", {"given": given, "vary": vary})


def search_sets(slots: int) -> Request:
    """Build a search among sets of options: an example with ten options for each of some slots."""
    given: dict[str, Any] = dict(registry.get("fit-out").examples[0].given)
    options = [
        {"slot": f"s{slot}", "name": f"o{option}", "mass": 1 + (7 * slot + 13 * option) % 17, "price": option}
        for slot in range(slots)
        for option in range(10)
    ]
    tables = {"packs": given["packs"][:1], "propellers": given["propellers"][:1], "part_options": options}
    return post_json("/v1/fit-out", {**given, **tables})


def run_lengths(rows: int) -> bytes:
    """Write an Arrow stream of a column that is one run of so many rows."""
    return arrow_stream({"cells": pa.RunEndEncodedArray.from_arrays(pa.array([rows], pa.int64()), pa.array([6]))})


def hostile_inputs() -> list[HostileInput]:
    """List all hostile inputs."""
    return [*text_inputs(), *arrow_inputs(), *work_inputs(), *http_inputs()]


def ordinary_requests() -> list[Request]:
    """List requests that use every library the service has."""
    return [
        post(TABLE, b"cells,capacity\n6,1300\n", CSV),
        post(TABLE, beside(PACK, "note", pa.array(["x"])), ARROW),
        post(TABLE, json.dumps(PACK).encode(), NDJSON),
        post(LOG, b"time,voltage,current\n0,16,8\n1,16,8\n", CSV),
        post_json("/v1/overlay-cues?format=png&picture_time=0.5", VIDEO),
        get("/v1/endurance/chart?cells=6&capacity=1300&mean_power=200&format=png"),
        get("/calculators/pack-energy"),
    ]
