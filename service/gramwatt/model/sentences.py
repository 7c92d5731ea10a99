"""The headline of a response as a sentence: ``Under the limit: 5.3 g below it``."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import KW_ONLY, dataclass
from typing import Final, Generic, TypeVar

from gramwatt.arrays import BoolArray

I = TypeVar("I")  # noqa: E741 - a calculator's Inputs
R = TypeVar("R")  # a calculator's Results

VERDICTS: Final = ("good", "close", "bad")
"""Within a limit, too close to it, over it."""
PLACEHOLDER: Final = re.compile(r"\{(\w+)(?::(\w+))?\}")
"""An input or a result, and how it is written."""
FORMATS: Final = ("range", "magnitude", "rough")
"""``{endurance:range}`` adds the 95 % range, ``magnitude`` leaves the sign out, ``rough`` has two digits."""


@dataclass(frozen=True, slots=True)
class Sentence(Generic[I, R]):
    """The headline in words. ``{name}`` stands for an input or a result with its unit.

    A response has the first declared sentence whose condition holds and whose results all have a value.
    """

    text: str
    _: KW_ONLY
    details: tuple[str, ...] = ()
    """Sentences to follow in a line below, each shown where all its results have a value."""
    when: Callable[[I, R], BoolArray] | None = None
    verdict: str = ""
    """One of `VERDICTS`, or nothing."""

    def list_names(self) -> Iterator[str]:
        """Yield the inputs and results that the texts name."""
        for text in (self.text, *self.details):
            yield from (found[1] for found in PLACEHOLDER.finditer(text))

    def find_problems(self) -> Iterator[str]:
        """Yield what is wrong with the declaration, beside the names."""
        if self.verdict not in ("", *VERDICTS):
            yield f"verdict {self.verdict!r} is none of {', '.join(VERDICTS)}"
        for text in (self.text, *self.details):
            yield from (
                f"{found[0]} has an unknown format"
                for found in PLACEHOLDER.finditer(text)
                if found[2] and found[2] not in FORMATS
            )
