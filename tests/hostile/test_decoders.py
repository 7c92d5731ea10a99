"""What a few bytes unfold to is bounded: rows, cells and bytes that decoders make, whatever was sent."""

from __future__ import annotations

import io
import itertools
import json
import random
import subprocess
import sys
import tracemalloc
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from flask.testing import FlaskClient

from gramwatt.engine import limits
from gramwatt.engine.arrow_messages import ExpansionCounter, ExpansionLimitExceeded, check_schema
from gramwatt.engine.arrow_sizes import get_expanded_size, is_unsupported
from gramwatt.web import create_app

MOST_GROWTH = 50 * 1024 * 1024
POOLS: list[pa.MemoryPool] = []
"""Preserved to the end: a pool must outlive all that was made in it."""
ARROW = "application/vnd.apache.arrow.stream"
BATCH = "/v1/pack-energy/batch"
LOG = "/v1/flight-log/log?cells=4&capacity=850"


@pytest.fixture(scope="module")
def client() -> FlaskClient:
    """Return a client of the application, in this process."""
    made = create_app().test_client()
    made.post(f"{BATCH}?keep=*", data=stream(plain(2)), content_type=ARROW)  # what is imported then is no growth
    made.post(LOG, data=stream(recording(2)), content_type=ARROW)
    return made


@pytest.fixture
def bounded() -> Iterator[None]:
    """Hold what a test's request makes, in Python and in Arrow, to `MOST_GROWTH`."""
    proxy = pa.proxy_memory_pool(pa.system_memory_pool())
    POOLS.append(proxy)
    before_pool = pa.default_memory_pool()
    pa.set_memory_pool(proxy)
    tracemalloc.start()
    start = tracemalloc.get_traced_memory()[0]
    tracemalloc.reset_peak()
    try:
        yield
        peak = tracemalloc.get_traced_memory()[1] - start
    finally:
        tracemalloc.stop()
        pa.set_memory_pool(before_pool)
    assert peak < MOST_GROWTH
    assert (proxy.max_memory() or 0) < MOST_GROWTH


def plain(rows: int) -> dict[str, Any]:
    """Return the columns that a pack's energy needs."""
    return {"cells": pa.array([6] * rows), "capacity": pa.array([1300] * rows)}


def recording(rows: int) -> dict[str, Any]:
    """Return the columns of a flight's recording."""
    return {
        "time": pa.array(np.arange(rows) / 10),
        "voltage": pa.array(np.full(rows, 16.0)),
        "current": pa.array(np.full(rows, 8.0)),
    }


def stream(columns: Mapping[str, Any], compression: str | None = None, batches: int = 1) -> bytes:
    """Columns as an Arrow stream of some equal batches."""
    batch = pa.RecordBatch.from_arrays(list(columns.values()), names=list(columns))
    sink = io.BytesIO()
    with pa.ipc.new_stream(
        sink, batch.schema, options=pa.ipc.IpcWriteOptions(compression=compression, allow_64bit=True)
    ) as writer:
        for _ in range(batches):
            writer.write_batch(batch)
    return sink.getvalue()


def file(columns: Mapping[str, Any], compression: str | None = None) -> bytes:
    """Columns as an Arrow file."""
    batch = pa.RecordBatch.from_arrays(list(columns.values()), names=list(columns))
    sink = io.BytesIO()
    with pa.ipc.new_file(
        sink, batch.schema, options=pa.ipc.IpcWriteOptions(compression=compression, allow_64bit=True)
    ) as writer:
        writer.write_batch(batch)
    return sink.getvalue()


def ends_rejected(response: Any) -> bool:
    """Whether a response refuses the table: by its status, or after the rows that came before."""
    return response.status_code in (413, 422) or b"too-large" in response.data[-2000:]


def nulls(rows: int) -> pa.Array:
    """Return a column of nulls, which takes no memory."""
    return pa.Array.from_buffers(pa.null(), rows, [None])


def index_of(rows: int, size: int) -> pa.Array:
    """Return a dictionary column in which each row is the same long text."""
    return pa.DictionaryArray.from_arrays(pa.array(np.zeros(rows, np.int8)), pa.array(["x" * size]))


def views_of(rows: int, size: int) -> pa.Array:
    """Return a column of views, each of the same long text."""
    view = np.zeros((rows, 4), np.int32)
    view[:, 0], view[:, 1] = size, np.frombuffer(b"xxxx", np.int32)[0]
    return pa.Array.from_buffers(pa.string_view(), rows, [None, pa.py_buffer(view), pa.py_buffer(b"x" * size)])


TABLES: Mapping[str, Callable[[], bytes]] = {
    "null-column-of-10^12-rows": lambda: stream({"cells": nulls(10**12)}),
    "rows-without-columns": lambda: stream({"note": nulls(10**9)}),
    "many-batches-of-nulls": lambda: stream({"cells": pa.nulls(200_000)}, batches=100),
    "zeros-zstd": lambda: stream({**plain(10), "note": pa.array(["x" * 20_000_000] * 10)}, "zstd"),
    "zeros-lz4": lambda: stream({**plain(10), "note": pa.array(["x" * 20_000_000] * 10)}, "lz4"),
    "many-batches-zstd": lambda: stream({**plain(10), "note": pa.array(["x" * 1_500_000] * 10)}, "zstd", batches=50),
    "dictionary": lambda: stream({**plain(20_000), "note": index_of(20_000, 64 * 1024)}, "zstd"),
    "dictionary-as-an-input": lambda: stream({"cells": index_of(20_000, 64 * 1024), "capacity": index_of(20_000, 9)}),
    "views": lambda: stream({**plain(20_000), "note": views_of(20_000, 64 * 1024)}),
    "runs": lambda: stream({**plain(20_000), "note": runs_of(20_000, 64 * 1024)}),
    "runs-within-a-list": lambda: stream(
        {**plain(1), "note": pa.ListArray.from_arrays([0, 20_000], runs_of(20_000, 64 * 1024))}
    ),
    "a-list-of-nulls": lambda: stream({**plain(1), "note": pa.FixedSizeListArray.from_arrays(nulls(2**30), 2**30)}),
    "list-views": lambda: stream(
        {
            **plain(5000),
            "note": pa.ListViewArray.from_arrays(
                pa.array(np.zeros(5000, np.int32)), pa.array(np.full(5000, 5000, np.int32)), pa.array(range(5000))
            ),
        }
    ),
    "a-dictionary-of-lists": lambda: stream(
        {
            **plain(5000),
            "note": pa.DictionaryArray.from_arrays(np.zeros(5000, np.int32), pa.array([list(range(5000))])),
        }
    ),
    "many-fields": lambda: stream(
        {**plain(1), "note": pa.nulls(1, pa.struct([(str(at), pa.null()) for at in range(5000)]))}
    ),
    "deep-fields": lambda: stream({**plain(1), "note": pa.nulls(1, deep(30))}),
}


def runs_of(rows: int, size: int) -> pa.Array:
    """Return a run of the same long text."""
    return pa.RunEndEncodedArray.from_arrays(pa.array([rows], pa.int32()), pa.array(["x" * size]))


def deep(levels: int) -> pa.DataType:
    """Return a list of lists of lists."""
    return pa.list_(deep(levels - 1)) if levels else pa.int8()


@pytest.mark.parametrize("form", ["csv", "json", "arrow"])
@pytest.mark.parametrize("name", TABLES)
def test_arrow_table_that_unfolds(client: FlaskClient, name: str, form: str, request: pytest.FixtureRequest) -> None:
    body = TABLES[name]()
    request.getfixturevalue("bounded")
    response = client.post(f"{BATCH}?keep=*&format={form}", data=body, content_type=ARROW)
    assert ends_rejected(response), response.data[:300]
    assert len(response.data) < MOST_GROWTH


RECORDINGS: Mapping[str, Callable[[], bytes]] = {
    "nulls": lambda: stream({name: nulls(10**9) for name in ("time", "voltage", "current")}),
    "zeros-zstd": lambda: stream(
        {name: pa.array(np.zeros(4_000_000)) for name in ("time", "voltage", "current")}, "zstd"
    ),
    "zeros-zstd-in-a-file": lambda: file(
        {name: pa.array(np.zeros(4_000_000)) for name in ("time", "voltage", "current")}, "zstd"
    ),
    "nulls-in-a-file": lambda: file({name: nulls(10**9) for name in ("time", "voltage", "current")}),
    "dictionary": lambda: stream({**recording(20_000), "time": index_of(20_000, 64 * 1024)}),
    "views-in-a-file": lambda: file({**recording(20_000), "time": views_of(20_000, 64 * 1024)}),
}


@pytest.mark.parametrize("name", RECORDINGS)
def test_arrow_recording_that_unfolds(client: FlaskClient, name: str, request: pytest.FixtureRequest) -> None:
    body = RECORDINGS[name]()
    request.getfixturevalue("bounded")
    response = client.post(LOG, data=body, content_type=ARROW)
    assert response.status_code == 422
    assert "refused" in response.get_json()["detail"]


@pytest.mark.parametrize("compression", [None, "lz4", "zstd"])
@pytest.mark.parametrize("pack", [stream, file])
def test_plain_recording_is_read(client: FlaskClient, pack: Any, compression: str | None) -> None:
    """In every compression, as a stream and as a file, the response is the same to the last byte."""
    rows = 5000
    columns = {**recording(rows), "voltage": pa.array(np.linspace(16.8, 14, rows)), "note": index_of(rows, 10)}
    answers = [
        client.post(LOG, data=each, content_type=ARROW) for each in (pack(columns, compression), stream(columns))
    ]
    assert answers[0].status_code == 200
    assert answers[0].data == answers[1].data


@pytest.mark.parametrize("compression", [None, "lz4", "zstd"])
@pytest.mark.parametrize("form", ["csv", "json", "arrow"])
def test_plain_table_is_computed(client: FlaskClient, compression: str | None, form: str) -> None:
    rows = 40_000
    columns = {
        "cells": pa.array(np.resize([4, 6], rows)),
        "capacity": pa.array(np.linspace(1000, 2000, rows)),
        "note": pa.array([f"pack {at}" for at in range(rows)]).dictionary_encode(),
        "id": pa.array([f"a text of some length {at}" for at in range(rows)], pa.string_view()),
    }
    plainly = {**columns, "note": columns["note"].dictionary_decode(), "id": columns["id"].cast(pa.string())}
    answers = [
        client.post(f"{BATCH}?format={form}", data=body, content_type=ARROW)
        for body in (stream(columns, compression), stream(plainly))
    ]
    assert [each.status_code for each in answers] == [200, 200]
    if form != "arrow":
        assert answers[0].data == answers[1].data
        return
    tables = [pa.ipc.open_stream(each.data).read_all() for each in answers]
    assert tables[0].num_rows == rows
    assert [each.column("id").to_pylist() for each in tables] == [columns["id"].to_pylist()] * 2
    assert tables[0].column("usable_energy").equals(tables[1].column("usable_energy"))


def test_views_pass_through_arrow_without_all_that_they_refer_to(client: FlaskClient) -> None:
    """Each batch of the response would else carry the texts of the whole table."""
    rows = 100_000
    columns = {**plain(rows), "id": pa.array([f"a text of some length {at}" for at in range(rows)], pa.string_view())}
    response = client.post(f"{BATCH}?format=arrow", data=stream(columns), content_type=ARROW)
    per_row = len(response.data) / rows
    assert per_row < 300
    assert pa.ipc.open_stream(response.data).read_all().column("id").to_pylist() == columns["id"].to_pylist()


@pytest.mark.parametrize(
    ("values", "size"),
    [
        pytest.param(pa.array(["a", None, "bcd"]), 4, id="texts"),
        pytest.param(pa.array(["a", "bc"], pa.string_view()), 3, id="views"),
        pytest.param(pa.array(["a", "bc", "bc"]).dictionary_encode(), 5, id="dictionary"),
        pytest.param(pa.array(["x", "bc", "bc", "a"]).dictionary_encode().slice(1, 2), 4, id="dictionary-sliced"),
        pytest.param(pa.RunEndEncodedArray.from_arrays([2, 5], ["a", "bcd"]).slice(1, 3), 7, id="runs-sliced"),
        pytest.param(pa.array([["a"], ["bc", "d"], []]).slice(1), 3, id="lists-sliced"),
        pytest.param(pa.array([{"a": "xy", "b": 1}] * 3).slice(1), 4, id="structures-sliced"),
        pytest.param(pa.array([["a", "bc"]] * 3, pa.list_(pa.string(), 2)).slice(1), 6, id="fixed-lists-sliced"),
        pytest.param(pa.array([[("a", "bc")]] * 2, pa.map_(pa.string(), pa.string())).slice(1), 3, id="map-sliced"),
        pytest.param(pa.array([1, 2]), 0, id="numbers"),
        pytest.param(pa.array([], pa.string_view()), 0, id="no-views"),
    ],
)
def test_unfolded_size(values: pa.Array, size: int) -> None:
    assert get_expanded_size(values) == size


def test_types_that_are_rejected() -> None:
    assert is_unsupported(pa.list_view(pa.int8()))
    assert is_unsupported(pa.struct([("a", pa.dictionary(pa.int8(), pa.list_(pa.int8())))]))
    assert is_unsupported(pa.dense_union([pa.field("a", pa.int8())]))
    assert not is_unsupported(pa.list_(pa.struct([("a", pa.dictionary(pa.int8(), pa.string()))])))


def test_fields_of_a_schema_are_bounded() -> None:
    check_schema(pa.schema([("a", deep(limits.MAX_ARROW_FIELD_DEPTH - 1))]))
    with pytest.raises(ExpansionLimitExceeded, match="within more than"):
        check_schema(pa.schema([("a", deep(limits.MAX_ARROW_FIELD_DEPTH))]))
    with pytest.raises(ExpansionLimitExceeded, match="more than 2000 fields"):
        check_schema(pa.schema([(str(at), pa.null()) for at in range(2001)]))


def test_dictionaries_that_grow_are_bounded() -> None:
    """Each delta has the whole dictionary copied."""
    texts = pa.array(["x" * 1000 + str(at) for at in range(5000)])
    kind = pa.dictionary(pa.int32(), pa.string())
    sink = io.BytesIO()
    options = pa.ipc.IpcWriteOptions(emit_dictionary_deltas=True)
    with pa.ipc.new_stream(sink, pa.schema([("note", kind)]), options=options) as writer:
        for stop in range(4000, 5000):
            column = pa.DictionaryArray.from_arrays(pa.array([stop - 1], pa.int32()), texts.slice(0, stop))
            writer.write_batch(pa.RecordBatch.from_arrays([column], ["note"]))
    unfolding = ExpansionCounter()
    messages = pa.ipc.MessageReader.open_stream(pa.BufferReader(sink.getvalue()))
    unfolding.received = len(sink.getvalue())
    with pytest.raises(ExpansionLimitExceeded, match="unfolds"):
        list(map(unfolding.check, messages))


def out_of_range(kind: pa.DataType, *values: int) -> pa.Array:
    """Return a column of a type with the raw numbers of its values."""
    width = kind.bit_width // 8
    raw = b"".join(value.to_bytes(width, "little", signed=True) for value in values)
    return pa.Array.from_buffers(kind, len(values), [None, pa.py_buffer(raw)])


LARGEST, LARGER = 2**31 - 1, 2**63 - 1
OUT_OF_RANGE = [
    *((pa.date32(), value) for value in (LARGEST, -LARGEST)),
    *((pa.date64(), value) for value in (LARGER, -LARGER)),
    *((pa.timestamp(unit), value) for unit in ("s", "ms", "us", "ns") for value in (LARGER, -LARGER)),
    *((pa.timestamp("us", tz=zone), 0) for zone in ("Nowhere/At", "UTC\nforged", "+99:99", "é")),
    (pa.timestamp("s", tz="Europe/Berlin"), LARGER),
    *((pa.time32("s"), value) for value in (LARGEST, -1)),
    (pa.time64("ns"), LARGER),
    (pa.duration("s"), -LARGER - 1),
    (pa.month_day_nano_interval(), 2**120),
    (pa.decimal256(76, 10), 2**254),
    (pa.decimal256(76, -100), 2**254),
    (pa.decimal128(38, 0), 2**126),
    (pa.float16(), 0x7C01),
]


@pytest.mark.parametrize("form", ["csv", "json", "ndjson", "arrow"])
@pytest.mark.parametrize(("kind", "value"), OUT_OF_RANGE, ids=str)
@pytest.mark.parametrize("nested", [False, True])
def test_value_out_of_range(client: FlaskClient, form: str, kind: pa.DataType, value: int, nested: bool) -> None:
    column = out_of_range(kind, value)
    column = pa.StructArray.from_arrays([column], ["a"]) if nested else column
    body = stream({**plain(1), "note": column})
    response = client.post(f"{BATCH}?format={form}", data=body, content_type=ARROW)
    assert response.status_code in (200, 400, 422)
    assert b"forged\\n" not in response.data
    assert b"internal-error" not in response.data
    if form != "arrow" and not nested:
        assert b"value out of range" not in response.data
        assert b"T-" not in response.data  # hours below zero of a year that there is not


@pytest.mark.parametrize(("kind", "value"), OUT_OF_RANGE, ids=str)
def test_value_out_of_range_in_a_recording(client: FlaskClient, kind: pa.DataType, value: int) -> None:
    body = stream({**recording(1), "time": out_of_range(kind, value)})
    assert client.post(LOG, data=body, content_type=ARROW).status_code in (200, 400, 422)


def test_ndjson_with_a_key_of_its_own_in_each_row(client: FlaskClient, bounded: None) -> None:
    body = b"".join(b'{"cells":6,"capacity":1300,"k%d":1}\n' % row for row in range(5_000))
    response = client.post(f"{BATCH}?keep=*&format=csv", data=body, content_type="application/x-ndjson")
    assert response.status_code == 200
    assert b"up to 200 different names" in response.data


def test_json_with_a_key_of_its_own_in_each_row(client: FlaskClient, bounded: None) -> None:
    rows = [{"cells": 6, "capacity": 1300, f"k{row}": 1} for row in range(5_000)]
    response = client.post(f"{BATCH}?keep=*&format=csv", data=json.dumps(rows), content_type="application/json")
    assert response.status_code == 200
    assert b"up to 200 different names" in response.data


@pytest.mark.parametrize("header", [b"", b"time,voltage,current\n"])
def test_recording_of_8_mb_of_commas(client: FlaskClient, header: bytes, bounded: None) -> None:
    response = client.post(LOG, data=header + b"," * 8_000_000, content_type="text/csv")
    assert response.status_code in (400, 422)


def test_table_of_8_mb_of_commas(client: FlaskClient, bounded: None) -> None:
    response = client.post(BATCH, data=b"," * 8_000_000, content_type="text/csv")
    assert response.status_code == 400


def test_table_with_a_row_of_8_mb_of_commas(client: FlaskClient, bounded: None) -> None:
    response = client.post(BATCH, data=b"cells,capacity\n" + b"," * 8_000_000, content_type="text/csv")
    assert response.status_code == 400


def test_recording_with_more_columns_than_one_may_have(client: FlaskClient) -> None:
    names = ["time", "voltage", "current", *(f"c{at}" for at in range(limits.MAX_RECORDING_COLUMNS))]
    bodies = {
        "application/x-ndjson": "{" + ",".join(f'"{name}":1' for name in names) + "}\n",
        "application/json": "{" + ",".join(f'"{name}":[1]' for name in names) + "}",
        ARROW: stream({name: pa.array([1.0]) for name in names}),
        "text/csv": ",".join(names) + "\n" + ",".join("1" for _ in names) + "\n",
    }
    for media, body in bodies.items():
        assert client.post(LOG, data=body, content_type=media).status_code in (400, 422), media


@pytest.mark.parametrize("media", ["application/x-ndjson", "application/json"])
@pytest.mark.parametrize("opening", ["[", '{"a":'])
@pytest.mark.parametrize("path", [BATCH, LOG])
def test_deep_json(client: FlaskClient, path: str, opening: str, media: str) -> None:
    response = client.post(path, data=opening * 50_000, content_type=media)
    assert response.status_code in (200, 400, 422)
    assert b"internal-error" not in response.data


@pytest.mark.parametrize("count", [500, pytest.param(4000, marks=pytest.mark.heavy)])
def test_damaged_arrow_streams_end_in_an_answer(client: FlaskClient, count: int) -> None:
    """Streams and files with bytes changed, cut out or doubled, each as a table and some as a recording."""
    chance = random.Random(14)
    sources = [
        stream({**plain(40), "note": pa.array(["a text"] * 40).dictionary_encode(), "id": pa.nulls(40)}),
        stream({**plain(40), "note": pa.array([[1, 2], None] * 20), "id": pa.array([{"a": "x"}] * 40)}, "lz4"),
        stream(
            {**plain(40), "note": views_of(40, 100), "id": pa.array([1] * 40, pa.timestamp("us", tz="UTC"))}, "zstd"
        ),
        stream({**plain(40), "note": runs_of(40, 10), "id": pa.array([1] * 40, pa.decimal256(70, 3))}),
        stream(recording(40), "zstd"),
        file({**recording(40), "note": pa.array(["x"] * 40).dictionary_encode()}, "lz4"),
    ]
    forms = itertools.cycle(("csv", "json", "arrow"))
    for _ in range(count):
        damaged = bytearray(chance.choice(sources))
        for _ in range(chance.choice((1, 1, 2, 8))):
            at = chance.randrange(len(damaged))
            match chance.randrange(4):
                case 0:
                    damaged[at] = chance.randrange(256)
                case 1:
                    damaged[at : at + 4] = chance.choice((b"\xff\xff\xff\x7f", b"\0\0\0\0", b"\0\0\0\x80", b"\xff" * 4))
                case 2:
                    del damaged[at : at + chance.randrange(1, 40)]
                case _:
                    damaged[at:at] = damaged[at : at + chance.randrange(1, 40)]
        path = LOG if chance.random() < 0.3 else f"{BATCH}?keep=*&format={next(forms)}"
        response = client.post(path, data=bytes(damaged), content_type=ARROW)
        assert response.status_code in (200, 400, 404, 413, 422), (response.status_code, bytes(damaged))
        assert b"internal-error" not in response.data


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="memory is read from /proc")
def test_memory_comes_back_to_the_system() -> None:
    """A process that read what unfolds the furthest has not grown by more than it may."""
    program = Path(__file__).with_name("growth.py")
    found = subprocess.run(
        [sys.executable, str(program)],
        capture_output=True,
        text=True,
        timeout=300,
        check=True,
        env={"PYTHONPATH": ":".join(sys.path), "PATH": "/usr/bin"},
    )
    assert int(found.stdout) < MOST_GROWTH
