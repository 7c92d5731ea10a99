"""Arrow from outside: what is read, expanded sizes, values out of range, and damaged streams."""

from __future__ import annotations

import io
import itertools
import random
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from flask.testing import FlaskClient

from gramwatt.engine import limits
from gramwatt.engine.arrow_messages import ExpansionCounter, ExpansionLimitExceeded, check_schema
from gramwatt.engine.arrow_sizes import get_expanded_size, is_unsupported
from hostile.arrow_bodies import (
    ARROW,
    BATCH,
    LOG,
    make_dictionary,
    make_nested_type,
    make_pack_columns,
    make_recording_columns,
    make_runs,
    make_views,
    write_file,
    write_stream,
)


@pytest.mark.parametrize("compression", [None, "lz4", "zstd"])
@pytest.mark.parametrize("pack", [write_stream, write_file])
def test_plain_recording_is_read(client: FlaskClient, pack: Any, compression: str | None) -> None:
    """In every compression, as a stream and as a file, the response is the same to the last byte."""
    rows = 5000
    columns = {
        **make_recording_columns(rows),
        "voltage": pa.array(np.linspace(16.8, 14, rows)),
        "note": make_dictionary(rows, 10),
    }
    responses = [
        client.post(LOG, data=each, content_type=ARROW) for each in (pack(columns, compression), write_stream(columns))
    ]
    assert responses[0].status_code == 200
    assert responses[0].data == responses[1].data


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
    plain_columns = {**columns, "note": columns["note"].dictionary_decode(), "id": columns["id"].cast(pa.string())}
    responses = [
        client.post(f"{BATCH}?format={form}", data=body, content_type=ARROW)
        for body in (write_stream(columns, compression), write_stream(plain_columns))
    ]
    assert [each.status_code for each in responses] == [200, 200]
    if form != "arrow":
        assert responses[0].data == responses[1].data
        return
    tables = [pa.ipc.open_stream(each.data).read_all() for each in responses]
    assert tables[0].num_rows == rows
    assert [each.column("id").to_pylist() for each in tables] == [columns["id"].to_pylist()] * 2
    assert tables[0].column("usable_energy").equals(tables[1].column("usable_energy"))


def test_views_pass_through_arrow_without_all_that_they_refer_to(client: FlaskClient) -> None:
    """Otherwise each batch of the response would contain the texts of the whole table."""
    rows = 100_000
    columns = {
        **make_pack_columns(rows),
        "id": pa.array([f"a text of some length {at}" for at in range(rows)], pa.string_view()),
    }
    response = client.post(f"{BATCH}?format=arrow", data=write_stream(columns), content_type=ARROW)
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
def test_expanded_size(values: pa.Array, size: int) -> None:
    assert get_expanded_size(values) == size


def test_types_that_are_rejected() -> None:
    assert is_unsupported(pa.list_view(pa.int8()))
    assert is_unsupported(pa.struct([("a", pa.dictionary(pa.int8(), pa.list_(pa.int8())))]))
    assert is_unsupported(pa.dense_union([pa.field("a", pa.int8())]))
    assert not is_unsupported(pa.list_(pa.struct([("a", pa.dictionary(pa.int8(), pa.string()))])))


def test_fields_of_a_schema_are_bounded() -> None:
    check_schema(pa.schema([("a", make_nested_type(limits.MAX_ARROW_FIELD_DEPTH - 1))]))
    with pytest.raises(ExpansionLimitExceeded, match="within more than"):
        check_schema(pa.schema([("a", make_nested_type(limits.MAX_ARROW_FIELD_DEPTH))]))
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
    counter = ExpansionCounter()
    messages = pa.ipc.MessageReader.open_stream(pa.BufferReader(sink.getvalue()))
    counter.received = len(sink.getvalue())
    with pytest.raises(ExpansionLimitExceeded, match="unfolds"):
        list(map(counter.check, messages))


def make_raw_array(kind: pa.DataType, *values: int) -> pa.Array:
    """Return a column of a type with the raw numbers of its values."""
    width = kind.bit_width // 8
    raw = b"".join(value.to_bytes(width, "little", signed=True) for value in values)
    return pa.Array.from_buffers(kind, len(values), [None, pa.py_buffer(raw)])


MAX_INT32, MAX_INT64 = 2**31 - 1, 2**63 - 1
OUT_OF_RANGE = [
    *((pa.date32(), value) for value in (MAX_INT32, -MAX_INT32)),
    *((pa.date64(), value) for value in (MAX_INT64, -MAX_INT64)),
    *((pa.timestamp(unit), value) for unit in ("s", "ms", "us", "ns") for value in (MAX_INT64, -MAX_INT64)),
    *((pa.timestamp("us", tz=zone), 0) for zone in ("Nowhere/At", "UTC\nforged", "+99:99", "é")),
    (pa.timestamp("s", tz="Europe/Berlin"), MAX_INT64),
    *((pa.time32("s"), value) for value in (MAX_INT32, -1)),
    (pa.time64("ns"), MAX_INT64),
    (pa.duration("s"), -MAX_INT64 - 1),
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
    column = make_raw_array(kind, value)
    column = pa.StructArray.from_arrays([column], ["a"]) if nested else column
    body = write_stream({**make_pack_columns(1), "note": column})
    response = client.post(f"{BATCH}?format={form}", data=body, content_type=ARROW)
    assert response.status_code in (200, 400, 422)
    assert b"forged\\n" not in response.data
    assert b"internal-error" not in response.data
    if form != "arrow" and not nested:
        assert b"value out of range" not in response.data
        assert b"T-" not in response.data  # hours below zero of a year that there is not


@pytest.mark.parametrize(("kind", "value"), OUT_OF_RANGE, ids=str)
def test_value_out_of_range_in_a_recording(client: FlaskClient, kind: pa.DataType, value: int) -> None:
    body = write_stream({**make_recording_columns(1), "time": make_raw_array(kind, value)})
    assert client.post(LOG, data=body, content_type=ARROW).status_code in (200, 400, 422)


def test_recording_with_more_columns_than_one_may_have(client: FlaskClient) -> None:
    names = ["time", "voltage", "current", *(f"c{at}" for at in range(limits.MAX_RECORDING_COLUMNS))]
    bodies = {
        "application/x-ndjson": "{" + ",".join(f'"{name}":1' for name in names) + "}\n",
        ARROW: write_stream({name: pa.array([1.0]) for name in names}),
        "text/csv": ",".join(names) + "\n" + ",".join("1" for _ in names) + "\n",
    }
    for media, body in bodies.items():
        assert client.post(LOG, data=body, content_type=media).status_code in (400, 422), media
    inputs = {"log": {name: [1] for name in names}, "cells": 4, "capacity": 850}
    assert client.post(LOG.partition("/log")[0], json=inputs).status_code == 422


@pytest.mark.parametrize(
    ("path", "media"),
    [
        (BATCH, "application/x-ndjson"),
        (BATCH, "application/json"),
        (LOG, "application/x-ndjson"),
        (LOG.partition("/log")[0], "application/json"),
    ],
)
@pytest.mark.parametrize("opening", ["[", '{"a":'])
def test_deep_json(client: FlaskClient, path: str, opening: str, media: str) -> None:
    response = client.post(path, data=opening * 50_000, content_type=media)
    assert response.status_code in (200, 400, 422)
    assert b"internal-error" not in response.data


@pytest.mark.parametrize("count", [500, pytest.param(4000, marks=pytest.mark.heavy)])
def test_damaged_arrow_streams_get_a_response(client: FlaskClient, count: int) -> None:
    """Streams and files with bytes changed, cut out or doubled, each as a table and some as a recording."""
    chance = random.Random(14)
    sources = [
        write_stream(
            {**make_pack_columns(40), "note": pa.array(["a text"] * 40).dictionary_encode(), "id": pa.nulls(40)}
        ),
        write_stream(
            {**make_pack_columns(40), "note": pa.array([[1, 2], None] * 20), "id": pa.array([{"a": "x"}] * 40)}, "lz4"
        ),
        write_stream(
            {
                **make_pack_columns(40),
                "note": make_views(40, 100),
                "id": pa.array([1] * 40, pa.timestamp("us", tz="UTC")),
            },
            "zstd",
        ),
        write_stream(
            {**make_pack_columns(40), "note": make_runs(40, 10), "id": pa.array([1] * 40, pa.decimal256(70, 3))}
        ),
        write_stream(make_recording_columns(40), "zstd"),
        write_file({**make_recording_columns(40), "note": pa.array(["x"] * 40).dictionary_encode()}, "lz4"),
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
