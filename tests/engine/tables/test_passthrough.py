"""Columns that are no inputs: they come back as they were sent, whatever their type and wherever they begin."""

from __future__ import annotations

import csv
import datetime
import decimal
import io
import json
from typing import Any

import pyarrow as pa
import pytest

from engine.tables.table_helpers import in_chunks, rows, stream, table
from gramwatt.engine.tables.chunks import InvalidTable
from gramwatt.engine.tables.writers import Style

pytestmark = pytest.mark.usefixtures("either_csv_reader")

PACK = "pack-energy"
NOON = datetime.datetime(2020, 1, 2, 12, tzinfo=datetime.UTC)
TEXT_FORMATS = [pytest.param("json", id="json"), pytest.param("ndjson", id="ndjson"), pytest.param("csv", id="csv")]


def lines(*columns: dict[str, object]) -> bytes:
    """Return valid rows in NDJSON, each with columns of its own."""
    return "".join(json.dumps({"cells": 6, "capacity": 1300, **each}) + "\n" for each in columns).encode()


def arrow(notes: pa.Array) -> bytes:
    """Return rows in Arrow with a column of notes. The last row is invalid."""
    capacity = pa.array([1300.0] * (len(notes) - 1) + [-1.0])
    return stream(pa.table({"note": notes, "cells": pa.array([6] * len(notes)), "capacity": capacity}))


@pytest.mark.parametrize(
    ("values", "kind", "expected"),
    [
        pytest.param(["007", "ü✓"], pa.string(), ["007", "ü✓"], id="string"),
        pytest.param(["007", "ü✓"], pa.large_string(), ["007", "ü✓"], id="large-string"),
        pytest.param(["007", "ü✓"], pa.string_view(), ["007", "ü✓"], id="string-view"),
        pytest.param(["a", "b"], pa.dictionary(pa.int8(), pa.string()), ["a", "b"], id="dictionary"),
        pytest.param([2**64 - 1, 0], pa.uint64(), [2**64 - 1, 0], id="uint64"),
        pytest.param([-(2**63), None], pa.int64(), [-(2**63), None], id="int64-and-null"),
        pytest.param([0.1, 2.5], pa.float64(), [0.1, 2.5], id="float64"),
        pytest.param([1.5, 2.5], pa.float16(), [1.5, 2.5], id="float16"),
        pytest.param([True, None], pa.bool_(), [True, None], id="bool"),
        pytest.param([None, None], pa.null(), [None, None], id="null"),
        pytest.param([decimal.Decimal("1.50")] * 2, pa.decimal128(5, 2), ["1.50"] * 2, id="decimal"),
        pytest.param([datetime.date(2020, 1, 2)] * 2, pa.date32(), ["2020-01-02"] * 2, id="date"),
        pytest.param(
            [NOON] * 2,
            pa.timestamp("s", "UTC"),
            ["2020-01-02T12:00:00.000+00:00"] * 2,
            id="time-stamp",
        ),
        pytest.param([datetime.timedelta(hours=25)] * 2, pa.duration("s"), ["P1DT1H"] * 2, id="duration"),
        pytest.param([b"a", b"\xff"], pa.binary(), ["YQ==", "/w=="], id="binary-as-base64"),
        pytest.param([[1], [2, None]], pa.list_(pa.int64()), ["[1]", "[2,null]"], id="list-as-json"),
        pytest.param([{"a": 1}] * 2, pa.struct({"a": pa.int64()}), ['{"a":1}'] * 2, id="struct-as-json"),
    ],
)
def test_arrow_columns_of_any_type(values: list[Any], kind: pa.DataType, expected: list[Any]) -> None:
    """As they are in Arrow; as numbers and texts elsewhere, in valid rows and in an invalid one."""
    raw = arrow(pa.array([*values, values[0]], kind))
    arrived = rows(PACK, raw, "arrow", "arrow")
    assert [row["note"] for row in arrived] == [*values, values[0]]
    texts = rows(PACK, raw, "arrow", "ndjson")
    assert [row["note"] for row in texts] == [*expected, expected[0]]
    assert [bool(row.get("error")) for row in texts] == [False] * len(values) + [True]
    assert table(PACK, raw, "arrow", "csv").count(b"\r\n") == len(values) + 2


@pytest.mark.parametrize(
    ("value", "kind"),
    [
        pytest.param(2**63 - 1, pa.timestamp("s"), id="beyond-its-milliseconds"),
        pytest.param(0, pa.timestamp("s", "Mars/Olympus"), id="unknown-time-zone"),
        pytest.param(0, pa.timestamp("us", "+99:99"), id="impossible-offset"),
    ],
)
@pytest.mark.parametrize("wanted", TEXT_FORMATS)
def test_a_time_that_no_text_can_show_ends_the_table(value: int, kind: pa.DataType, wanted: str) -> None:
    (row,) = rows(PACK, arrow(pa.array([value], pa.int64()).view(kind)), "arrow", wanted)
    assert "cannot be passed through" in str(row["error"])
    assert "malformed-request" in str(row["error"])


@pytest.mark.parametrize(
    ("count", "unit", "expected"),
    [
        pytest.param(0, "s", "PT0S", id="none"),
        pytest.param(-1, "ms", "-PT0.001S", id="negative"),
        pytest.param(86_400, "s", "P1D", id="a-day"),
        pytest.param(90_061_500_000, "us", "P1DT1H1M1.5S", id="all-parts"),
        pytest.param(3_600_000_000_001, "ns", "PT1H0.000000001S", id="nanoseconds"),
    ],
)
def test_durations_by_iso_8601(count: int, unit: str, expected: str) -> None:
    first, _ = rows(PACK, arrow(pa.array([count, None], pa.int64()).view(pa.duration(unit))), "arrow", "ndjson")
    assert first["note"] == expected


@pytest.mark.parametrize(
    ("kind", "guarded"),
    [
        pytest.param(pa.string(), "'=1+1", id="string"),
        pytest.param(pa.string_view(), "'=1+1", id="string-view"),
        pytest.param(pa.dictionary(pa.int32(), pa.string()), "'=1+1", id="dictionary"),
    ],
)
def test_no_type_of_text_becomes_a_formula(kind: pa.DataType, guarded: str) -> None:
    made = rows(PACK, arrow(pa.array(["=1+1", "a", "@x"], kind)), "arrow", "csv")
    assert [row["note"] for row in made] == [guarded, "a", "'@x"]


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        pytest.param("=1+1", "'=1+1", id="equals"),
        pytest.param("\tx", "'\tx", id="tab"),
        pytest.param("-1.5", "-1.5", id="number"),
        pytest.param("-1e5", "-1e5", id="exponent"),
        pytest.param("+x", "'+x", id="plus"),
        pytest.param("-1 -1", "'-1 -1", id="sum"),
        pytest.param("-5\n=1", "'-5\n=1", id="number-and-a-line"),
        pytest.param("a=1", "a=1", id="within"),
    ],
)
def test_guarded_in_csv_alone(cell: str, expected: str) -> None:
    """A number may begin with a sign; a program that reads JSON runs nothing."""
    raw = f'cells,capacity,note\n6,1300,"{cell}"\n'.encode()
    _, line = csv.reader(io.StringIO(table(PACK, raw, wanted="csv").decode(), newline=""))
    assert line[0] == expected
    assert rows(PACK, raw)[0]["note"] == cell


def test_a_negative_number_with_a_decimal_comma_is_no_formula() -> None:
    raw = b"cells;capacity;note\n6;1300;-1,5\n6;1300;-x,5\n"
    made = table(PACK, raw, wanted="csv", style=Style("names", 12, ";", ",")).decode().splitlines()
    assert made[1].startswith("-1,5;23,088;")
    assert made[2].startswith("'-x,5;23,088;")


def test_names_of_columns_are_guarded_too() -> None:
    made = table(PACK, b"cells,capacity,=1+1,-5\n6,1300,a,b\n", wanted="csv", keep="*").decode()
    assert made.startswith("'=1+1,-5,usable_energy,")


@pytest.mark.parametrize("wanted", [pytest.param("csv", id="csv"), pytest.param("arrow", id="arrow")])
@pytest.mark.parametrize(
    ("first", "second"),
    [
        pytest.param(7, "abc", id="number-then-text"),
        pytest.param(7, 0.5, id="whole-then-not"),
        pytest.param(7, [1], id="number-then-list"),
        pytest.param("a", 7, id="text-then-number"),
        pytest.param(True, 9007199254740993, id="truth-then-large"),
    ],
)
def test_a_column_of_json_may_change_its_type(wanted: str, first: object, second: object) -> None:
    """Also after the first chunk. In Arrow the values become texts."""
    raw = lines({"id": first}, {"id": second})
    made = rows(PACK, raw, "ndjson", wanted)
    with in_chunks(1):
        assert rows(PACK, raw, "ndjson", wanted) == made
    words = [value if isinstance(value, str) else json.dumps(value) for value in (first, second)]
    if wanted == "arrow":
        assert [row["id"] for row in made] == words


@pytest.mark.parametrize("wanted", [pytest.param("csv", id="csv"), pytest.param("arrow", id="arrow")])
def test_a_column_that_comes_late_is_reported(wanted: str) -> None:
    """The first rows determine the columns of the output."""
    with in_chunks(1):
        first, second, third = rows(PACK, lines({}, {"drone": "x"}, {"drone": None}), "ndjson", wanted, keep="*")
        assert "drone is left out" in second["error"]
        assert "keep=drone" in second["error"]
        assert second["usable_energy"] == pytest.approx(23.088, rel=1e-12)
        assert first["error"] is third["error"] is None
        named = rows(PACK, lines({}, {"drone": "x"}), "ndjson", wanted, keep="drone")
        assert [(row["drone"], row["error"]) for row in named] == [(None, None), ("x", None)]


@pytest.mark.parametrize(
    "value",
    [
        pytest.param(7, id="whole"),
        pytest.param(0.1, id="fraction"),
        pytest.param(5.0, id="whole-with-a-point"),
        pytest.param(9007199254740993, id="beyond-a-double"),
        pytest.param(-(2**63), id="minimum"),
        pytest.param(2**64 - 1, id="maximum"),
        pytest.param("007", id="leading-zeros"),
        pytest.param('a "b"\\ \n\t', id="escapes"),
        pytest.param([1, {"a": [None]}], id="nested"),
        pytest.param({"},{": "]}"}, id="brackets-in-texts"),
        pytest.param(True, id="truth"),
        pytest.param("", id="empty"),
    ],
)
def test_json_values_stay(value: object) -> None:
    """Alone, among equal ones, and beside an invalid row."""
    for raw in (lines({"id": value}), lines({"id": value}, {"id": value, "cells": 0}, {"id": value})):
        made = table(PACK, raw, "ndjson", "ndjson").splitlines()
        assert {json.dumps(json.loads(line)["id"]) for line in made} == {json.dumps(value)}


@pytest.mark.parametrize(
    "value",
    [
        pytest.param('"\\ud800"', id="lone-surrogate"),
        pytest.param("9" * 30, id="beyond-64-bits"),
        pytest.param("[" * 300 + "]" * 300, id="deep"),
    ],
)
@pytest.mark.parametrize("wanted", TEXT_FORMATS)
def test_a_value_that_cannot_be_passed_through_is_an_error_of_its_row(value: str, wanted: str) -> None:
    raw = b'{"cells":6,"capacity":1300,"id":%s}\n' % value.encode() + lines({"id": "a"})
    bad, good = rows(PACK, raw, "ndjson", wanted)
    assert "cannot be passed through" in str(bad["error"])
    assert (good["id"], good["usable_energy"]) == ("a", 23.088)


@pytest.mark.parametrize("wanted", TEXT_FORMATS)
def test_rows_with_names_of_their_own_make_no_more_columns_than_a_table_may_have(wanted: str) -> None:
    """Each name would be a column as long as the table."""
    own: list[dict[str, object]] = [{f"own_{at}": at} for at in range(1000)]
    made = rows(PACK, lines(*own), "ndjson", wanted, keep="*")
    assert len(made) == 1000
    assert not any(row.get("error") for row in made[:100])
    assert all("too many columns" in str(row["error"]) for row in made[300:])
    assert max(map(len, made)) < 250


@pytest.mark.parametrize("wanted", TEXT_FORMATS)
def test_a_lone_surrogate_in_a_name_is_an_error_of_its_row(wanted: str) -> None:
    raw = b'{"cells":6,"capacity":1300,"\\ud800":1}\n' + lines({})
    bad, good = rows(PACK, raw, "ndjson", wanted, keep="*")
    assert "surrogate" in str(bad["error"])
    assert good["usable_energy"] == 23.088


@pytest.mark.parametrize(
    "name",
    [
        pytest.param("usable_energy", id="result"),
        pytest.param("usable_energy_u", id="its-uncertainty"),
        pytest.param("usable_energy_low", id="the-low-end-of-its-range"),
        pytest.param("usable_energy_high", id="the-high-end-of-its-range"),
        pytest.param("usable_energy [Wh]", id="as-in-a-response"),
        pytest.param("cautions", id="cautions"),
        pytest.param("error", id="error"),
    ],
)
def test_no_output_has_a_name_twice(name: str) -> None:
    with pytest.raises(InvalidTable, match="rename it"):
        table(PACK, f"cells,capacity,{name}\n6,1300,1\n".encode(), keep="*")
    (row,) = rows(PACK, lines({name: 1}), "ndjson", keep="*")
    assert "rename it" in row["error"]["detail"]


def test_no_header_no_names() -> None:
    style = Style("off", 12, ",", ".")
    assert table(PACK, b"cells,capacity,id\n6,1300,007\n", wanted="csv", style=style).startswith(b"007,23.088,")
