"""Split a table or a grid into parts: columnar files by row groups, text by bytes at the ends of rows."""

from __future__ import annotations

import csv
import dataclasses
import io
import mmap
import os
import re
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Final

import numpy as np

from gramwatt.engine.tables.chunks import READ_SIZE, MalformedTable
from gramwatt.engine.tables.csv_reader import RowSplitter, split_header
from gramwatt.engine.tables.header import Passthrough, column_kinds
from gramwatt.engine.tables.plan import Plan
from gramwatt.engine.tables.sweep import count_points
from gramwatt.engine.tables.writers import Style
from gramwatt.partitions.sources import COLUMNAR_FORMATS, Grid, Part, TableFile

ROWS_PER_PART: Final = 1_000_000
ROWS_PER_NESTED_PART: Final = 1_000
"""Rows per part of a calculator that computes row by row. Both take about a second."""
_BYTES_PER_ROW: Final = 8
"""Bytes of text to read at once for each row of a part: few, so that parts have about the right size."""


def rows_per_part(plan: Plan) -> int:
    """Return the default number of rows of a part."""
    return ROWS_PER_PART if plan.calculator.columnwise else ROWS_PER_NESTED_PART


def describe_table(plan: Plan, path: str, form: str, style: Style, passthrough: Passthrough) -> TableFile:
    """Describe a file, and read the header of CSV. Raises OSError, and Broken where there is no header."""
    resolved = Path(path).resolve()
    status = os.stat(resolved)
    table = TableFile(str(resolved), form, style, passthrough, status.st_size, status.st_mtime_ns)
    if form in COLUMNAR_FORMATS or form == "ndjson":
        return table
    with open(resolved, "rb") as file:
        header = RowSplitter(file.read).header()
        with mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as mapped:
            begin = mapped.find(header) + len(header)
    separator = "\t" if form == "tsv" else style.separator
    _, separator = split_header(header, separator, column_kinds(plan.calculator))
    return dataclasses.replace(table, header=header, begin=begin, separator=separator)


def split_table(table: TableFile, rows: int) -> Iterator[Part]:
    """Split a table into parts of about ``rows`` rows, at least one. Raises OSError, Broken."""
    if table.form in COLUMNAR_FORMATS:
        from gramwatt.partitions.columnar import open_reader

        with open_reader(table.path, table.form) as columns:
            spans: Iterable[tuple[int, int, int]] = _group_spans(columns.groups, rows)
    else:
        spans = _line_spans(table, rows) if table.form == "ndjson" else _csv_spans(table, rows)
    return _number_parts(spans)


def split_grid(grid: Grid, rows: int) -> Iterator[Part]:
    """Split a grid into parts of ``rows`` points."""
    points = count_points(grid.axes)
    return _number_parts(
        (min(rows, points - start), start, min(start + rows, points)) for start in range(0, points, rows)
    )


def _number_parts(spans: Iterable[tuple[int, int, int]]) -> Iterator[Part]:
    first = number = 0
    for rows, start, stop in spans:
        yield Part(number, first, rows, start, stop)
        first += rows
        number += 1
    if number == 0:
        yield Part(0, 0, 0, 0, 0)


def _group_spans(groups: Sequence[int], rows: int) -> Iterator[tuple[int, int, int]]:
    """Yield spans of rows: large row groups are split evenly, small ones joined."""
    begin = start = 0
    for group in groups:
        if begin > start and begin + group - start > rows:
            yield begin - start, start, begin
            start = begin
        cuts = max(1, round(group / rows))
        for cut in range(1, cuts):
            stop = begin + group * cut // cuts
            yield stop - start, start, stop
            start = stop
        begin += group
    if begin > start:
        yield begin - start, start, begin


def _csv_spans(table: TableFile, rows: int) -> Iterator[tuple[int, int, int]]:
    """Yield spans of bytes that end with a row. A line end in quotes does not end a row."""
    with open(table.path, "rb") as file:
        file.seek(table.begin)
        read_size = _choose_read_size(rows)
        splitter = RowSplitter(lambda size: file.read(min(size, read_size)))
        counted = ((count_csv_rows(chunk, table.separator), len(chunk)) for chunk in splitter.rows(table.separator))
        yield from _join_spans(counted, table.begin, table.size, rows)


def _line_spans(table: TableFile, rows: int) -> Iterator[tuple[int, int, int]]:
    def count_chunks() -> Iterator[tuple[int, int]]:
        rest = b""
        with open(table.path, "rb") as file:
            while data := file.read(_choose_read_size(rows)):
                end = data.rfind(b"\n") + 1
                if end:
                    yield count_lines(rest + data[:end]), len(rest) + end
                    rest = b""
                rest += data[end:]
        if rest:
            yield count_lines(rest), len(rest)

    return _join_spans(count_chunks(), 0, table.size, rows)


def _choose_read_size(rows: int) -> int:
    return max(4096, min(READ_SIZE, rows * _BYTES_PER_ROW))


def _join_spans(chunks: Iterator[tuple[int, int]], begin: int, end: int, rows: int) -> Iterator[tuple[int, int, int]]:
    """Join chunks, as numbers of rows and bytes, until they have enough rows.

    If the rest cannot be split, it is one span; the reader of it then reports the error.
    """
    start, counted = begin, 0
    try:
        for chunk_rows, length in chunks:
            counted += chunk_rows
            begin += length
            if counted >= rows:
                yield counted, start, begin
                start, counted = begin, 0
    except MalformedTable:
        begin, counted = end, max(counted, 1)
    if counted:
        yield counted, start, begin


def count_csv_rows(chunk: bytes, separator: str) -> int:
    """Count the rows of a chunk of CSV without its blank lines."""
    outside = chunk
    if b'"' in chunk:
        by = re.escape(separator).encode()
        quoted = rb'(?<![^%b\n])"[^"]*(?:""[^"]*)*"(?=[%b\r\n]|\Z)' % (by, by)
        outside = re.sub(quoted, b"", chunk)
    carriage_returns = b"\r" in outside and outside.count(b"\r") != outside.count(b"\r\n")
    lines, blank = _count_all_lines(outside)
    complete = outside is chunk or chunk.endswith(b"\n")  # else a last row in quotes is missed
    if complete and b'"' not in outside and not carriage_returns and not blank:
        return lines
    text = io.StringIO(chunk.decode("utf-8", "surrogateescape"), newline="")
    rows = csv.reader(text, delimiter=separator, strict=False)
    try:
        return sum(1 for row in rows if row and (len(row) > 1 or row[0].strip(" ")))
    except csv.Error:  # the part ends with the row that cannot be read
        return max(1, outside.count(b"\n"))


def count_lines(chunk: bytes) -> int:
    """Count the lines that are not blank."""
    lines, blank = _count_all_lines(chunk)
    return sum(1 for line in chunk.split(b"\n") if line.strip()) if blank else lines


def _count_all_lines(chunk: bytes) -> tuple[int, bool]:
    """Return the number of lines, and whether one may be blank: it is empty, or begins with a space."""
    codes = np.frombuffer(chunk, np.uint8)
    ends = np.flatnonzero(codes == ord("\n"))
    begins = np.concatenate([[0], ends + 1])
    begins = begins[begins < len(codes)]
    return len(begins), bool((codes[begins] <= ord(" ")).any())
