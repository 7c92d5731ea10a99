"""A table or a grid cut into parts: columnar files by row groups, text by bytes at the ends of rows."""

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
from gramwatt.engine.tables.compute import Plan
from gramwatt.engine.tables.csv_reader import RowSplitter, split_header
from gramwatt.engine.tables.header import Passthrough, column_kinds
from gramwatt.engine.tables.sweep import count_points
from gramwatt.engine.tables.writers import Style
from gramwatt.partitions.sources import COLUMNAR_FORMATS, Grid, Part, TableFile

ROWS_PER_PART: Final = 1_000_000
ROWS_PER_NESTED_PART: Final = 1_000
"""The same for a calculator that computes row by row; both take about a second."""
_PER_ROW: Final = 8
"""Bytes of text read at once for each row of a part: few, so that parts are cut about where they should be."""


def rows_per_part(plan: Plan) -> int:
    """Return how many rows a part has unless the user says so."""
    return ROWS_PER_PART if plan.calculator.columnwise else ROWS_PER_NESTED_PART


def describe_table(plan: Plan, path: str, form: str, style: Style, passthrough: Passthrough) -> TableFile:
    """Describe a file, and read the header of CSV. Raises OSError, and Broken where there is no header."""
    whole = Path(path).resolve()
    found = os.stat(whole)
    table = TableFile(str(whole), form, style, passthrough, found.st_size, found.st_mtime_ns)
    if form in COLUMNAR_FORMATS or form == "ndjson":
        return table
    with open(whole, "rb") as file:
        header = RowSplitter(file.read).header()
        with mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as mapped:
            begin = mapped.find(header) + len(header)
    separator = "\t" if form == "tsv" else style.separator
    _, separator = split_header(header, separator, column_kinds(plan.calculator))
    return dataclasses.replace(table, header=header, begin=begin, separator=separator)


def split_table(table: TableFile, rows: int) -> Iterator[Part]:
    """Cut a table into parts of about so many rows, one at least. Raises OSError, Broken."""
    if table.form in COLUMNAR_FORMATS:
        from gramwatt.partitions.columnar import open_reader

        with open_reader(table.path, table.form) as columns:
            spans: Iterable[tuple[int, int, int]] = _group_spans(columns.groups, rows)
    else:
        spans = _line_spans(table, rows) if table.form == "ndjson" else _csv_spans(table, rows)
    return _parts(spans)


def split_grid(grid: Grid, rows: int) -> Iterator[Part]:
    """Cut a grid into parts of so many points."""
    points = count_points(grid.axes)
    return _parts((min(rows, points - start), start, min(start + rows, points)) for start in range(0, points, rows))


def _parts(spans: Iterable[tuple[int, int, int]]) -> Iterator[Part]:
    first = number = 0
    for rows, start, stop in spans:
        yield Part(number, first, rows, start, stop)
        first += rows
        number += 1
    if number == 0:
        yield Part(0, 0, 0, 0, 0)


def _group_spans(groups: Sequence[int], rows: int) -> Iterator[tuple[int, int, int]]:
    """Row groups as spans of rows: large ones cut evenly, small ones joined."""
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
    """Spans of bytes that end with a row, a line end in quotes being none."""
    with open(table.path, "rb") as file:
        file.seek(table.begin)
        fine = _fineness(rows)
        pieces = RowSplitter(lambda size: file.read(min(size, fine)))
        counted = ((count_csv_rows(piece, table.separator), len(piece)) for piece in pieces.rows(table.separator))
        yield from _spans(counted, table.begin, table.size, rows)


def _line_spans(table: TableFile, rows: int) -> Iterator[tuple[int, int, int]]:
    def pieces() -> Iterator[tuple[int, int]]:
        left = b""
        with open(table.path, "rb") as file:
            while read := file.read(_fineness(rows)):
                end = read.rfind(b"\n") + 1
                if end:
                    yield count_lines(left + read[:end]), len(left) + end
                    left = b""
                left += read[end:]
        if left:
            yield count_lines(left), len(left)

    return _spans(pieces(), 0, table.size, rows)


def _fineness(rows: int) -> int:
    return max(4096, min(READ_SIZE, rows * _PER_ROW))


def _spans(pieces: Iterator[tuple[int, int]], begin: int, end: int, rows: int) -> Iterator[tuple[int, int, int]]:
    """Pieces of rows and bytes joined until they have enough rows. Where the rest cannot be cut it is one span: who
    reads it says what is wrong."""
    start, counted = begin, 0
    try:
        for some, length in pieces:
            counted += some
            begin += length
            if counted >= rows:
                yield counted, start, begin
                start, counted = begin, 0
    except MalformedTable:
        begin, counted = end, max(counted, 1)
    if counted:
        yield counted, start, begin


def count_csv_rows(piece: bytes, separator: str) -> int:
    """Count the rows of a piece of CSV; blank lines are none."""
    outside = piece
    if b'"' in piece:
        by = re.escape(separator).encode()
        quoted = rb'(?<![^%b\n])"[^"]*(?:""[^"]*)*"(?=[%b\r\n]|\Z)' % (by, by)
        outside = re.sub(quoted, b"", piece)
    carriage_returns = b"\r" in outside and outside.count(b"\r") != outside.count(b"\r\n")
    lines, blank = _lines(outside)
    whole = outside is piece or piece.endswith(b"\n")  # else a last row in quotes is not seen
    if whole and b'"' not in outside and not carriage_returns and not blank:
        return lines
    text = io.StringIO(piece.decode("utf-8", "surrogateescape"), newline="")
    rows = csv.reader(text, delimiter=separator, strict=False)
    try:
        return sum(1 for row in rows if row and (len(row) > 1 or row[0].strip(" ")))
    except csv.Error:  # the row that cannot be read ends the part
        return max(1, outside.count(b"\n"))


def count_lines(piece: bytes) -> int:
    """Count the lines that are not blank."""
    lines, blank = _lines(piece)
    return sum(1 for line in piece.split(b"\n") if line.strip()) if blank else lines


def _lines(piece: bytes) -> tuple[int, bool]:
    """Count the lines, and return whether one may be blank: it is empty, or begins with a space."""
    codes = np.frombuffer(piece, np.uint8)
    ends = np.flatnonzero(codes == ord("\n"))
    begins = np.concatenate([[0], ends + 1])
    begins = begins[begins < len(codes)]
    return len(begins), bool((codes[begins] <= ord(" ")).any())
