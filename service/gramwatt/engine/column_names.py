"""Names of columns as people write them, with the unit after the name: ``capacity [Ah]`` or ``current (mA)``."""

from __future__ import annotations

from typing import Final

_BRACKETS: Final = {"]": ("[", "]"), ")": ("(", ")")}


def split_unit(name: str) -> tuple[str, str | None]:
    """Return the name of a column and the unit in brackets or parentheses after it, or None."""
    text = name.strip()
    opening, closing = _BRACKETS.get(text[-1:], ("[", "]"))
    head, bracket, spelling = text.removesuffix(closing).rpartition(opening)
    if not text.endswith(closing) or not bracket or closing in spelling or "\n" in head.strip():
        return text, None
    return head.strip(), spelling.strip()
