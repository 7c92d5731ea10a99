"""Texts that a spreadsheet would run when it opens a CSV file: an apostrophe before them has it show them."""

from __future__ import annotations

import re
from typing import Any, Final

from gramwatt.model.parsing import NUMBER

_SIGNS: Final = r"=+\-@＝＋－＠﹦﹢﹣﹫"
_RISKY: Final = re.compile(rf"[{_SIGNS}\t\r\n]")
_BEGINNING: Final = re.compile(rf"[\s\x00-\x1f\u200b-\u200f\u2060\ufeff]*[{_SIGNS}]|[\t\r\n]")
"""How a formula begins: white space before its sign is dropped by some programs."""
_NUMBER: Final = re.compile(NUMBER)


def guard_text(text: str) -> str:
    """Return a text as a spreadsheet shows it rather than runs it."""
    return f"'{text}" if _BEGINNING.match(text) else text


def guard_cell(text: str, decimal: str = ".") -> str:
    """Return the same of a cell that a client sent, which may be a number with a sign."""
    if _BEGINNING.match(text) is None or _NUMBER.fullmatch(text.strip(" ").replace(decimal, ".", 1)):
        return text
    return f"'{text}"


def guard_cells(values: list[Any], decimal: str) -> list[Any]:
    """Return a column with its texts guarded; the list itself where none of them needs it."""
    texts = [value for value in values if type(value) is str] if None in values else values
    if set(map(type, texts)) == {str} and _RISKY.search("".join(texts)) is None:
        return values
    return [guard_cell(value, decimal) if type(value) is str else value for value in values]
