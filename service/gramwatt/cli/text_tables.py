"""Tables as lines of text that fit a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

GAP: Final = 2
"""Blank characters between columns."""
MAX_HEADING: Final = 14
"""Characters of a heading's line, unless one of its words is longer."""
MIN_LAST: Final = 22
"""Characters of the last column of `wrap_columns`, however narrow the terminal."""


class Cell(NamedTuple):
    """A value of a table as text."""

    text: str
    range: str = ""
    """The ends of its range: ``5.8 to 11.7``."""

    def show(self, with_range: bool) -> str:
        """Return the text, with the range in brackets if that is wanted."""
        return f"{self.text} ({self.range})" if with_range and self.range else self.text


@dataclass(frozen=True, slots=True)
class TextTable:
    """A table of results: ``cells`` has a row for each of ``names`` and a column for each of ``headings``."""

    names: tuple[str, ...]
    headings: tuple[str, ...]
    cells: tuple[tuple[Cell, ...], ...]
    numeric: tuple[bool, ...]
    """Whether a column holds numbers, which are aligned on the right."""

    @property
    def has_ranges(self) -> bool:
        """Whether any value has a range."""
        return any(cell.range for row in self.cells for cell in row)

    def fit(self, width: int) -> tuple[list[str], bool]:
        """Return lines of at most ``width`` characters, and whether they show the ranges.

        A table with fewer rows than columns is turned, so that its rows stand side by side. Ranges are shown if there
        is room. What still does not fit is split, with the names of the rows before each part.
        """
        orders = (True, False) if len(self.names) < len(self.headings) else (False, True)
        for with_range in (True, False) if self.has_ranges else (False,):
            for turned in orders:
                lines = self._turn(with_range) if turned else self._lay_out(range(len(self.headings)), with_range)
                if max(map(len, lines)) <= width:
                    return lines, with_range
        return list(self._split(width)), False

    def _turn(self, with_range: bool) -> list[str]:
        rows = [
            [heading, *(row[column].show(with_range) for row in self.cells)]
            for column, heading in enumerate(self.headings)
        ]
        return align([["", *self.names], *rows], [False, *([True] * len(self.names))])

    def _lay_out(self, columns: Sequence[int], with_range: bool = False) -> list[str]:
        rows = [
            [name, *(row[column].show(with_range) for column in columns)]
            for name, row in zip(self.names, self.cells, strict=True)
        ]
        return align([["", *(self.headings[column] for column in columns)], *rows],
                     [False, *(self.numeric[column] for column in columns)])  # fmt: skip

    def _split(self, width: int) -> Iterator[str]:
        rest = list(range(len(self.headings)))
        while rest:
            count = len(rest)
            while count > 1 and max(map(len, self._lay_out(rest[:count]))) > width:
                count -= 1
            yield from self._lay_out(rest[:count])
            rest = rest[count:]
            if rest:
                yield ""


def align(rows: Sequence[Sequence[str]], on_the_right: Sequence[bool]) -> list[str]:
    """Return rows as lines with aligned columns; the first row has the headings, which are wrapped."""
    heads = [textwrap.wrap(text, max(MAX_HEADING, *map(len, [*text.split(), ""]))) for text in rows[0]]
    widths = [
        max(len(text) for text in (*heads[column], *(row[column] for row in rows[1:]), ""))
        for column in range(len(rows[0]))
    ]
    depth = max(map(len, heads))
    padded = [[""] * (depth - len(head)) + head for head in heads]
    lines = [[head[line] for head in padded] for line in range(depth)]
    return [
        (" " * GAP)
        .join(
            cell.rjust(width) if right else cell.ljust(width)
            for cell, width, right in zip(line, widths, on_the_right, strict=True)
        )
        .rstrip()
        for line in [*lines, *rows[1:]]
    ]


def wrap_columns(rows: Sequence[Sequence[str]], max_widths: Sequence[int], width: int) -> list[list[str]]:
    """Return the lines of each row, indented, with columns on the left; too long text is wrapped in its column."""
    sizes = [min(limit, max((len(row[column]) for row in rows), default=0)) for column, limit in enumerate(max_widths)]
    sizes.append(max(MIN_LAST, width - sum(sizes) - GAP * (len(sizes) + 1)))
    wrapped_rows = []
    for row in rows:
        cells = [
            textwrap.wrap(text, max(1, size), break_long_words=False, break_on_hyphens=False) or [""]
            for text, size in zip(row, sizes, strict=True)
        ]
        lines = []
        for line in range(max(map(len, cells))):
            texts = [cell[line] if line < len(cell) else "" for cell in cells]
            padded = [text.ljust(size) for text, size in zip(texts, sizes, strict=True)]
            lines.append((" " * GAP + (" " * GAP).join(padded)).rstrip())
        wrapped_rows.append(lines)
    return wrapped_rows
