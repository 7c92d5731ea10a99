"""An invalid row has the errors of the same single request, and leaves the other rows alone."""

from __future__ import annotations

import json
from typing import Any

import pytest

from engine.tables.table_helpers import in_chunks, passthrough, row_by_row, rows, single, source_of, table
from gramwatt.engine import registry
from gramwatt.engine.tables import csv_reader
from gramwatt.engine.tables.chunks import MAX_CHUNK_ROWS, InvalidTable, MalformedTable
from gramwatt.engine.tables.compute import compute_batch
from gramwatt.engine.tables.plan import Plan
from gramwatt.engine.tables.row_errors import MAX_DETAILED_ROWS, MAX_ERRORS_PER_ROW
from gramwatt.engine.tables.writers import Style

pytestmark = pytest.mark.usefixtures("either_csv_reader")

PACK = "pack-energy"
GOOD = {"cells": 6, "capacity": 1300}


def pointers(row: dict[str, Any]) -> list[str]:
    return [error["pointer"] for error in row["error"]["errors"]]


def between(row: str, form: str) -> bytes:
    """Return a row in JSON between two valid ones."""
    texts = [json.dumps({**GOOD, "id": 1}), row, json.dumps({**GOOD, "id": 3})]
    return ("\n".join(texts) + "\n" if form == "ndjson" else f"[{','.join(texts)}]").encode()


@pytest.mark.parametrize("form", [pytest.param("ndjson", id="ndjson"), pytest.param("json", id="array")])
@pytest.mark.parametrize(
    ("row", "expected"),
    [
        pytest.param('{"cells":6,"capacity":"1300"}', ["/capacity"], id="number-in-quotes"),
        pytest.param('{"cells":6,"capacity":"1300 furlong"}', ["/capacity"], id="unknown-unit"),
        pytest.param('{"cells":6,"capacity":"1300 V"}', ["/capacity"], id="another-dimension"),
        pytest.param('{"cells":6,"capacity":true}', ["/capacity"], id="truth-for-a-number"),
        pytest.param('{"cells":6,"capacity":1e999}', ["/capacity"], id="beyond-a-double"),
        pytest.param('{"cells":6,"capacity":[1300]}', ["/capacity"], id="list-for-a-number"),
        pytest.param('{"cells":6,"capacity":""}', ["/capacity"], id="empty-text"),
        pytest.param('{"cells":1.5,"capacity":1300}', ["/cells"], id="count-with-a-half"),
        pytest.param('{"cells":"6","capacity":1300}', ["/cells"], id="count-in-quotes"),
        pytest.param('{"cells":null,"capacity":1300}', ["/cells"], id="null-for-what-is-required"),
        pytest.param('{"capacity":-1,"chemistry":"lip"}', ["/capacity", "/cells", "/chemistry"], id="three-at-once"),
        pytest.param('{"cells":6,"capacity":1300,"a/b~":1}', ["/a~1b~0"], id="unknown-name-escaped"),
        pytest.param('{"cells":6,"capacity":NaN}', [""], id="nan-is-no-json"),
        pytest.param('{"cells":6,"capacity":-Infinity}', [""], id="infinity-is-no-json"),
        pytest.param('{"cells":6,"cells":6,"capacity":1300}', [""], id="name-twice"),
        pytest.param('{"cells":6,"capacity":1300,"cells":null}', [""], id="name-twice-and-null"),
        pytest.param('{"id":"x:null","cells":6,"capacity":9,"capacity":1300}', [""], id="name-twice-behind-a-text"),
        pytest.param('{"cells":6,"capacity":1300,"note":1e5,"note":2}', [""], id="label-twice"),
        pytest.param("[]", [""], id="list-for-a-row"),
        pytest.param("null", [""], id="null-for-a-row"),
        pytest.param('"x"', [""], id="text-for-a-row"),
        pytest.param('{"cells":6,"capacity":%s}' % ("9" * 5000), [""], id="thousands-of-digits"),
    ],
)
def test_a_row_of_json(form: str, row: str, expected: list[str]) -> None:
    first, bad, third = rows(PACK, between(row, form), form)
    assert first["usable_energy"] == third["usable_energy"] == 23.088
    assert (first["id"], third["id"]) == (1, 3)
    assert bad["error"]["row"] == 2
    assert sorted(pointers(bad)) == expected
    if "" not in expected:
        assert sorted(single(PACK, json.loads(row))["error"]) == expected, "as alone"


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        pytest.param("6,1300 furlong", ["/capacity"], id="unknown-unit"),
        pytest.param("6,1300 V", ["/capacity"], id="another-dimension"),
        pytest.param("6,nan", ["/capacity"], id="nan"),
        pytest.param("6,-inf", ["/capacity"], id="infinity"),
        pytest.param("6,1e999", ["/capacity"], id="beyond-a-double"),
        pytest.param("6,1_300", ["/capacity"], id="underscore"),
        pytest.param("6,0x10", ["/capacity"], id="hexadecimal"),
        pytest.param("6,１３００", ["/capacity"], id="full-width-digits"),
        pytest.param('6,"1,300"', ["/capacity"], id="comma-of-thousands"),
        pytest.param("6,true", ["/capacity"], id="truth"),
        pytest.param("6,1300\x00", ["/capacity"], id="nul"),
        pytest.param("6," + "1" * 65, ["/capacity"], id="65-digits"),
        pytest.param("6, ", ["/capacity"], id="blank"),
        pytest.param("1.5,1300", ["/cells"], id="count-with-a-half"),
        pytest.param("six,", ["/cells", "/capacity"], id="two-at-once"),
        pytest.param("6", [""], id="too-short"),
        pytest.param("6,1300,", [""], id="too-long"),
        pytest.param(",", ["/cells", "/capacity"], id="all-empty"),
        pytest.param('6,"13\n00"', ["/capacity"], id="line-end-within-quotes"),
        pytest.param("6,±10", ["/capacity"], id="uncertainty-alone"),
        pytest.param("6,1300±10", ["/capacity"], id="uncertainty-not-requested"),
    ],
)
@pytest.mark.parametrize("reading", [pytest.param("columns", id="by-columns"), pytest.param("rows", id="by-rows")])
def test_a_row_of_csv(line: str, expected: list[str], reading: str) -> None:
    raw = f"cells,capacity\n4,1300\n{line}\n6,1300\n".encode()
    if reading == "columns":
        first, bad, third = rows(PACK, raw)
    else:
        with row_by_row():
            first, bad, third = rows(PACK, raw)
    assert (first["usable_energy"], third["usable_energy"]) == (15.392, 23.088)
    assert bad["error"]["row"] == 2
    assert pointers(bad) == expected


def test_rows_are_numbered_through_all_chunks() -> None:
    """Blank lines are no rows."""
    raw = b"cells,capacity\n" + b"6,1300\n\n6,x\n" * 200
    with in_chunks(50):
        made = rows(PACK, raw)
    assert [row["error"]["row"] for row in made if "error" in row] == list(range(2, 401, 2))


def test_quotes_within_a_field_are_letters() -> None:
    """A five-inch propeller is often written so, and a closing quote may never come."""
    raw = b'cells,capacity,note\n6,1300,5" prop\n4,1300,"a ""b"", c"\n6,1300,5"\n'
    for size in (1, 10, 2**20):
        with in_chunks(size):
            made = rows(PACK, raw)
        assert [row["note"] for row in made] == ['5" prop', 'a "b", c', '5"']
        assert [row["usable_energy"] for row in made] == [23.088, 15.392, 23.088]


def test_a_quote_never_closed_takes_what_follows() -> None:
    """As every reader of CSV has it; the rows before have results, and the rest is read as one row."""
    first, second = rows(PACK, b'cells,capacity,note\n6,1300,a\n6,1300,"b\n6,1300,c\n')
    assert first["note"] == "a"
    assert second["note"] == "b\n6,1300,c\n"


def test_a_row_of_two_megabytes() -> None:
    long = "x" * 2**21
    raw = f"cells,capacity,note\n6,1300,{long}\n6,1300,b\n".encode()
    assert [len(row["note"]) for row in rows(PACK, raw)] == [2**21, 1]
    with row_by_row():
        assert [len(row["note"]) for row in rows(PACK, raw)] == [2**21, 1]


@pytest.mark.parametrize(
    ("sent", "raw"),
    [
        pytest.param("csv", b"cells,capacity,note\n6,1300,a\n6,1300," + b'"' + b"x\n" * 2**21, id="csv"),
        pytest.param("ndjson", b'{"cells":6,"capacity":1300}\n{"note":"' + b"x" * 2**22, id="ndjson"),
        pytest.param("json", b'[{"cells":6,"capacity":1300},{"note":"' + b"x" * 2**22, id="array"),
    ],
)
def test_a_row_without_end_breaks_the_table_off_after_the_rows_before(sent: str, raw: bytes) -> None:
    first, last = rows(PACK, raw, sent)
    assert first["usable_energy"] == 23.088
    assert last["error"]["type"] == "/problems/malformed-request"


def test_lines_ended_by_a_carriage_return_are_never_one_header() -> None:
    """They once were, and every row was lost in silence."""
    with pytest.raises(MalformedTable, match="carriage return"):
        table(PACK, b"cells,capacity\r6,1300\r4,1300\r")


@pytest.mark.parametrize(
    ("line", "energy"),
    [
        pytest.param("6;1300", 23.088, id="whole"),
        pytest.param("6;1,3 Ah", 23.088, id="comma-and-unit"),
        pytest.param("6;1300,0", 23.088, id="comma"),
        pytest.param("6;1.300", None, id="point-of-thousands-or-decimals"),
        pytest.param("6;1.300,5", None, id="both"),
        pytest.param("6.0;1300", None, id="count-with-a-point"),
    ],
)
def test_a_decimal_comma_is_never_guessed(line: str, energy: float | None) -> None:
    """1.300 is one number in some places and a thousand times that in others."""
    (row,) = rows(PACK, f"cells;capacity\n{line}\n".encode(), style=Style("names", 12, ";", ","))
    assert row.get("usable_energy") == energy
    assert ("a point in a number" in str(row)) == (energy is None)


def test_a_list_with_decimal_commas() -> None:
    raw = b"masses;mass_limit\n118,5;250\n118,5;96,2;250\n".replace(b"118,5;96,2", b'"118,5;96,2"')
    made = rows("mass-margin", raw, style=Style("names", 12, ";", ","))
    assert [row["running_total_mass"] for row in made] == [[118.5], [118.5, 214.7]]


@pytest.mark.parametrize(
    ("sent", "raw"),
    [
        pytest.param("json", b'[{"cells":6,"capacity":1300}]', id="array"),
        pytest.param("ndjson", b'{"cells":6,"capacity":1300}', id="ndjson"),
    ],
)
def test_an_input_in_the_query_and_in_the_row_is_an_error(sent: str, raw: bytes) -> None:
    (row,) = rows(PACK, raw, sent, constants={"cells": "4"})
    assert pointers(row) == ["/cells"]
    with pytest.raises(InvalidTable, match="in the query and in the table"):
        table(PACK, b"cells,capacity\n6,1300\n", constants={"cells": "4"})


@pytest.mark.parametrize("sent", [pytest.param("csv", id="csv"), pytest.param("ndjson", id="ndjson")])
def test_many_invalid_rows_are_reported_in_short(sent: str) -> None:
    """The last one has their number."""
    many = MAX_DETAILED_ROWS + 500
    raw = b"cells,capacity\n" + b"6,x\n" * many if sent == "csv" else b'{"cells":6,"capacity":"x"}\n' * many
    made = rows(PACK, raw, sent)
    assert all("errors" in row["error"] for row in made[:MAX_DETAILED_ROWS])
    assert not any("errors" in row["error"] for row in made[MAX_DETAILED_ROWS:])
    assert f"the {many:,}th invalid row" in made[-1]["error"]["detail"]
    assert made[-1]["error"]["row"] == many


def test_a_row_with_many_errors_lists_the_first_and_counts_the_rest() -> None:
    (row,) = rows(PACK, (json.dumps({f"x{at}": 1 for at in range(20)}) + "\n").encode(), "ndjson")
    assert len(row["error"]["errors"]) == MAX_ERRORS_PER_ROW
    assert "more" in row["error"]["detail"]


@pytest.mark.parametrize(
    "line",
    [pytest.param(b"6,1300\n", id="good"), pytest.param(b"6,x\n", id="invalid"), pytest.param(b"6\n", id="ragged")],
)
def test_short_rows_are_computed_in_chunks_of_bounded_length(line: bytes) -> None:
    """A body of a few bytes a row must not become a million errors in memory at once."""
    count = 3 * MAX_CHUNK_ROWS // 2
    calculator = registry.load()[PACK]
    source = source_of(b"cells,capacity\n" + line * count)
    lengths = [
        part.rows
        for chunk in csv_reader.read_csv(calculator, source, passthrough=passthrough(""))
        for part in compute_batch(Plan(PACK), chunk)
    ]
    assert sum(lengths) == count
    assert max(lengths) <= MAX_CHUNK_ROWS
