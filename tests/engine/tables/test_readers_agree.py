"""Reading by columns and row by row give the same output, however a table is cut into chunks."""

from __future__ import annotations

import json
from contextlib import suppress
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from engine.tables.table_helpers import in_chunks, row_by_row, table
from gramwatt.engine.tables.chunks import InvalidTable, MalformedTable

PACK = "pack-energy"


def output_rows(raw: bytes, sent: str, **options: Any) -> list[object]:
    """Return the rows of the output, or the error of the table."""
    try:
        return [_same(json.loads(line)) for line in table(PACK, raw, sent, "ndjson", **options).split(b"\n") if line]
    except MalformedTable as broken:
        return [f"Broken: {broken.detail}"]
    except InvalidTable as unreadable:
        return [f"Unreadable: {unreadable}"]


def _same(row: dict[str, Any]) -> dict[str, Any]:
    """Return a row without differences that are allowed.

    A missing value may be null or absent, and an invalid number may be text or a number.
    """
    for error in row.get("error", {}).get("errors", ()):
        with suppress(TypeError, ValueError):
            error["given"] = f"{float(error['given']) + 0.0:.12g}"
    return {name: value for name, value in row.items() if name not in ("id", "note") or value is not None}


NUMBERS = st.one_of(
    st.sampled_from(
        [
            "1300",
            "1.3 Ah",
            "1300 mAh",
            "1300±10",
            "1300 ± 10 mAh",
            "1300 +/- 0",
            "1e3",
            "1E+3",
            ".5e4",
            "1300.",
            "+1300",
        ]
    ),
    st.sampled_from(
        [
            "",
            " ",
            "\t",
            "1300\t",
            " 1300",
            "1300 ",
            "-0",
            "0",
            "nan",
            "inf",
            "-Infinity",
            "1e999",
            "1_000",
            "0x10",
            "1 V",
        ]
    ),
    st.sampled_from(["1,300", "1300mAh", "１３００", "1300 furlong", "true", "null", "1d3", "'1300", "1300\xa0mAh"]),
    st.floats(allow_nan=False, allow_infinity=False).map(repr),
    st.integers(0, 2 * 10**6).map(str),
)
COUNTS = st.one_of(st.integers(0, 30).map(str), st.sampled_from(["6.0", "1.5", "", "six", "6 V", "1e0", " 6", "6e999"]))
LABELS = st.one_of(
    st.sampled_from(
        ["007", "-5", "=1+1", "", " ", "a b", "ü✓", 'say ""hi""', "\ufffd", "x:null", "1e5", "NaN", "true"]
    ),
    st.text(st.characters(codec="utf-8", exclude_characters='",\r\n'), max_size=5),
)


@st.composite
def csv_tables(draw: st.DrawFn) -> bytes:
    """Tables as people and programs write them, and some that nobody would."""
    columns = draw(
        st.lists(
            st.sampled_from(["cells", "capacity", "capacity_u", "chemistry", "id", "note", "pack_mass [kg]", ""]),
            min_size=1,
            max_size=5,
        ).map(lambda names: ["cells", "capacity", *names])
    )
    kinds = {
        "cells": COUNTS,
        "chemistry": st.sampled_from(["lipo", "lihv", "LiPo", "", "lipo "]),
        "id": LABELS,
        "note": LABELS,
        "": LABELS,
    }
    quoted = st.sampled_from([lambda cell: cell, lambda cell: f'"{cell}"'])
    stray = st.sampled_from(['5" prop', 'a"b"c', '"a"b', '"', '"a\nb"', '"a\r\nb"', '"a,b"', "a\rb", "\x00"])
    lines = [",".join(dict.fromkeys(columns, "")) if draw(st.booleans()) else ",".join(columns)]
    names = lines[0].split(",")
    for _ in range(draw(st.integers(0, 6))):
        shape = draw(st.integers(0, 11))
        cells = [draw(quoted)(draw(kinds.get(name, NUMBERS))) for name in names]
        if shape == 0:
            cells = cells[:-1]
        elif shape == 1:
            cells.append("x")
        elif shape == 2:
            cells = [draw(st.sampled_from(["", " ", "  "]))]
        elif shape == 3:
            cells[draw(st.integers(0, len(cells) - 1))] = draw(stray)
        lines.append(",".join(cells))
    end = draw(st.sampled_from(["\n", "\r\n"]))
    text = end.join(lines) + draw(st.sampled_from(["", end, end * 2]))
    mark = draw(st.sampled_from([b"", b"\xef\xbb\xbf"]))
    return mark + text.encode() + draw(st.sampled_from([b"", b"", b"", b"6,\xff", b"\xc3"]))


@settings(max_examples=400)
@given(csv_tables())
@example(b"cells,capacity\n6,1300\n\n \n6,1300\n")
@example(b"capacity\n1300\n \n\n1300\n")
def test_csv_by_columns_and_by_rows(raw: bytes) -> None:
    by_columns = output_rows(raw, "csv", keep="*")
    with row_by_row():
        assert output_rows(raw, "csv", keep="*") == by_columns


@settings(max_examples=150)
@given(csv_tables(), st.integers(1, 64))
@example(b'cells,capacity,note\n6,1300,a"b\n6,1300,"c,\nd"\n6,1300,e\n', 1)
def test_csv_in_chunks(raw: bytes, size: int) -> None:
    whole = output_rows(raw, "csv", keep="*")
    with in_chunks(size):
        assert output_rows(raw, "csv", keep="*") == whole


JSON_CELLS = st.one_of(
    st.sampled_from(
        ["1300", "1.3e3", '"1.3 Ah"', '"1300"', '"1300 \\u00b1 10 mAh"', '"1300 ± 0 mAh"', "null", "true", '""', "[1]"]
    ),
    st.sampled_from(
        ["NaN", "Infinity", "1e999", "-0", "-0.0", "{}", '"a},{b"', "01", "+1", "1.", "9" * 400, '" 1 Ah"']
    ),
    st.integers(0, 2 * 10**6).map(str),
    st.floats(allow_nan=False, allow_infinity=False).map(json.dumps),
)
PASSED_THROUGH = st.one_of(
    st.sampled_from(
        ["7", '"007"', "0.5", "5.0", "1e5", "1e16", "null", '"x:null"', '"\\"y\\":1"', '":null"', "[1, 2]"]
    ),
    st.sampled_from(['{"a": [1]}', "9007199254740993", "9" * 30, '"\\ud800"', "true", '"},{"', '""', '"ü"', '"a\\nb"']),
    st.text(st.characters(codec="utf-8", exclude_categories=["Cc"], exclude_characters='"\\'), max_size=4).map(
        lambda text: f'"{text}"'
    ),
)


@st.composite
def json_rows(draw: st.DrawFn) -> list[str]:
    """Generate JSON objects as texts, each on one line."""
    made = []
    colon = draw(st.sampled_from([":", ": ", ":  ", " : "]))
    comma = draw(st.sampled_from([",", ", "]))
    plain = draw(st.booleans())
    for _ in range(draw(st.integers(0, 6))):
        cells = {"cells": draw(st.sampled_from(["6", "4"])), "capacity": draw(st.integers(1, 9000).map(str))}
        pairs = list(cells.items())
        if not plain:
            names = st.sampled_from(
                ["cells", "capacity", "id", "chemistry", "capacity_u", "id", "note", "cel", "pack_mass"]
            )
            for name in draw(st.lists(names, max_size=3)):
                known = {
                    "id": PASSED_THROUGH,
                    "note": PASSED_THROUGH,
                    "chemistry": st.sampled_from(['"lipo"', '"x"', "null", "1", '""']),
                }
                pairs.append((name, draw(known.get(name, JSON_CELLS))))
        made.append("{" + comma.join(f'"{name}"{colon}{cell}' for name, cell in pairs) + "}")
    return made


def lines(texts: list[str], end: str, odd: str) -> bytes:
    return (end.join(texts) + odd).encode()


def array(texts: list[str], end: str, odd: str) -> bytes:
    return (f"[{(',' + end).join(texts)}]{odd}").encode()


BETWEEN = st.sampled_from(["\n", "\n", "\r\n", "\n\n", "\n \n"])
WITHIN = st.sampled_from(["", " ", "\n", "\n  "])
NDJSON_END = st.sampled_from(["", "\n", "\n\n", "\n{", '\n"x', "\nnull", " x"])
ARRAY_END = st.sampled_from(["", "\n", "]", ",", " {}", "\x00"])
ANY_NDJSON = st.builds(lines, json_rows(), BETWEEN, NDJSON_END)
ANY_ARRAY = st.one_of(
    st.builds(array, json_rows(), WITHIN, ARRAY_END),
    st.builds(
        lambda raw, cut: raw[: max(0, len(raw) - cut)],
        st.builds(array, json_rows(), WITHIN, ARRAY_END),
        st.integers(1, 40),
    ),
    st.builds(
        lambda raw, at: raw[:at] + b"\xff" + raw[at:],
        st.builds(array, json_rows(), WITHIN, ARRAY_END),
        st.integers(0, 300),
    ),
)
either = pytest.mark.parametrize(
    ("sent", "tables"), [pytest.param("ndjson", ANY_NDJSON, id="ndjson"), pytest.param("json", ANY_ARRAY, id="array")]
)


@either
def test_json_by_columns_and_by_rows(sent: str, tables: st.SearchStrategy[bytes]) -> None:
    @settings(max_examples=400)
    @given(tables)
    def agree(raw: bytes) -> None:
        by_columns = output_rows(raw, sent)
        with row_by_row():
            assert output_rows(raw, sent) == by_columns

    agree()


@either
def test_json_in_chunks(sent: str, tables: st.SearchStrategy[bytes]) -> None:
    @settings(max_examples=150)
    @given(tables, st.integers(1, 64))
    def agree(raw: bytes, size: int) -> None:
        whole = output_rows(raw, sent)
        with in_chunks(size):
            assert output_rows(raw, sent) == whole

    agree()
