"""Valid and invalid Arrow streams: numbers of every type, texts, slices, truncated and corrupt streams."""

from __future__ import annotations

import decimal
import io
import random
from typing import Any

import pyarrow as pa
import pytest

from engine.tables.table_helpers import rows, stream, table
from gramwatt.engine.tables.chunks import InvalidTable, MalformedTable

PACK = "pack-energy"
PLAIN = pa.table({"cells": [6] * 10, "capacity": [1300.0] * 10, "note": ["a text"] * 10})


@pytest.mark.parametrize(
    "capacity",
    [
        pytest.param(pa.array([1300, None], pa.uint16()), id="uint16"),
        pytest.param(pa.array([1300, None], pa.int64()), id="int64"),
        pytest.param(pa.array([1300, None], pa.float16()), id="float16"),
        pytest.param(pa.array([1300, None], pa.float32()), id="float32"),
        pytest.param(pa.array([decimal.Decimal("1300.0"), None]), id="decimal"),
        pytest.param(pa.array(["1.3 Ah", None]), id="text-with-a-unit"),
        pytest.param(pa.array(["1.3 Ah", None], pa.string_view()), id="string-view"),
        pytest.param(pa.array(["1.3 Ah", None]).dictionary_encode(), id="dictionary"),
    ],
)
def test_inputs_of_any_type_that_fits(capacity: pa.Array) -> None:
    """A null is what a row does not give."""
    good, missing = rows(PACK, stream(pa.table({"cells": pa.array([6, 6], pa.int8()), "capacity": capacity})), "arrow")
    assert good["usable_energy"] == 23.088
    assert missing["error"]["detail"] == "capacity is required"


def test_a_column_of_counts_with_their_suffix() -> None:
    """A number as text is still none: it lacks the suffix."""
    small, large, plain = rows(PACK, stream(pa.table({"cells": ["4s", "6S", "6"], "capacity": [1300] * 3})), "arrow")
    assert (small["total_cells"], large["total_cells"]) == (4, 6)
    assert plain["error"]["errors"][0]["accepted"] == "a whole number from 1 to 24, also as 4S"


@pytest.mark.parametrize(
    ("name", "values"),
    [
        pytest.param("capacity", [True, False], id="truths-for-a-number"),
        pytest.param("parallel_cells", ["1", "1"], id="texts-for-a-count"),
        pytest.param("chemistry", [1, 2], id="numbers-for-a-choice"),
        pytest.param("capacity", [[1], [2]], id="lists-for-a-number"),
    ],
)
def test_a_column_of_the_wrong_type_rejects_the_table(name: str, values: list[Any]) -> None:
    columns: dict[str, Any] = {"cells": [6, 6], "capacity": [1300, 1300], name: values}
    with pytest.raises(InvalidTable, match="a column of type") as exc_info:
        table(PACK, stream(pa.table(columns)), "arrow")
    assert [error.pointer for error in exc_info.value.errors] == [f"/{name}"]


def test_slices_and_batches_keep_their_rows() -> None:
    whole = pa.table({"cells": range(1, 21), "capacity": range(1300, 1320), "note": [str(at) for at in range(20)]})
    made = rows(PACK, stream(whole.slice(3, 9), 2), "arrow", "arrow")
    assert [row["note"] for row in made] == [str(at) for at in range(3, 12)]
    assert [row["total_cells"] for row in made] == list(range(4, 13))


def test_a_compressed_stream() -> None:
    sink = io.BytesIO()
    with pa.ipc.new_stream(sink, PLAIN.schema, options=pa.ipc.IpcWriteOptions(compression="lz4")) as writer:
        writer.write_table(PLAIN)
    assert len(rows(PACK, sink.getvalue(), "arrow")) == 10


def test_a_truncated_stream_has_the_rows_before_the_cut() -> None:
    """Cut at the end of a batch it is a valid stream."""
    raw = stream(PLAIN, 4)
    outcomes: set[tuple[int, bool]] = set()
    for cut in range(0, len(raw), 3):
        try:
            made = rows(PACK, raw[:cut], "arrow", "ndjson")
        except MalformedTable:
            continue
        broken = bool(made) and "error" in made[-1]
        outcomes.add((len(made) - broken, broken))
    assert {(0, True), (4, True), (8, True)} & outcomes
    assert {count for count, _ in outcomes} <= {0, 4, 8, 10}


@pytest.mark.parametrize("wanted", [pytest.param(form, id=form) for form in ("ndjson", "csv", "arrow")])
def test_offsets_beyond_the_text_are_rejected(wanted: str) -> None:
    """Unchecked, such a stream ends the process."""
    notes = pa.table({"cells": [6, 6], "capacity": [1300.0, 1300.0], "note": ["a" * 77, "b" * 78]})
    raw, offsets = stream(notes), [at.to_bytes(4, "little") for at in (0, 77, 155, 2**30)]
    assert raw.count(b"".join(offsets[:3])) == 1
    corrupt = raw.replace(b"".join(offsets[:3]), offsets[0] + offsets[3] + offsets[2])
    with pytest.raises(MalformedTable, match="breaks off after row 0"):
        table(PACK, corrupt, "arrow", wanted)


def test_corrupt_bytes_give_an_error_or_rows() -> None:
    """Whichever byte changes, there are results or an error of the table."""
    raw, chance = stream(PLAIN, 4), random.Random(7)
    outcomes = {"computed": 0, "rejected": 0}
    for _ in range(400):
        corrupt = bytearray(raw)
        corrupt[chance.randrange(len(corrupt))] = chance.randrange(256)
        try:
            table(PACK, bytes(corrupt), "arrow", "ndjson")
            outcomes["computed"] += 1
        except (MalformedTable, InvalidTable):
            outcomes["rejected"] += 1
    assert all(outcomes.values()), outcomes
