"""The kinds of field with one value and no unit: whole numbers, options, flags, short texts."""

from __future__ import annotations

import math
import numbers
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import KW_ONLY, dataclass
from typing import TYPE_CHECKING, Any, ClassVar, Final

import numpy as np

from gramwatt.arrays import BoolArray
from gramwatt.model.kinds._base import BaseKind, repeat
from gramwatt.model.messages import join_with_or
from gramwatt.model.parsing import ValueParseError, describe_type, is_number
from gramwatt.model.units import Unit

if TYPE_CHECKING:
    from gramwatt.model.kinds import Kind

_PRINTABLE: Final = re.compile(r"[^\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]+")


@dataclass(frozen=True, slots=True)
class Count(BaseKind):
    """A whole number."""

    description: str
    _: KW_ONLY
    at_least: int
    at_most: int
    default: int | None = None
    suffix: str = ""
    """A letter that may follow the number, in either case, as on a label: the S of a pack with 4S."""
    spellings: tuple[tuple[str, int], ...] = ()
    """Texts that mean a number, the usual one first: ``4/0`` and ``0000``, a wire gauge that is counted as -3."""

    kind_name: ClassVar[str] = "count"
    is_numeric: ClassVar[bool] = True

    def describe_accepted(self) -> str:
        """Return what an input accepts, in words."""
        texts = ([f"{self._example}{self.suffix}"] if self.suffix else []) + [text for text, _ in self.spellings]
        labelled = f", also as {join_with_or(texts)}" if texts else ""
        return f"a whole number from {self.at_least} to {self.at_most}{labelled}"

    @property
    def accepts_labels(self) -> bool:
        """Whether a value may be a text, such as 4S."""
        return bool(self.suffix or self.spellings)

    def parse(self, cell: object, *, text: bool, bare: Unit | None = None) -> tuple[float, None]:
        """Return the number in a cell."""
        if isinstance(cell, str) and cell in (meanings := dict(self.spellings)):
            return float(meanings[cell]), None
        if isinstance(cell, str) and self.suffix and re.fullmatch(self.labelled_pattern, cell):
            cell = float(cell[:-1])
        if text and isinstance(cell, str) and is_number(cell):
            cell = float(cell)
        if isinstance(cell, bool) or not isinstance(cell, numbers.Real):
            raise ValueParseError(
                f"Enter a whole number such as {self._example}, not {describe_type(cell)}", self.describe_accepted()
            )
        try:
            number = float(cell)
        except OverflowError:
            number = math.inf
        if not self.at_least <= number <= self.at_most:
            raise ValueParseError(f"Must be from {self.at_least} to {self.at_most}", self.describe_accepted())
        if not number.is_integer():
            raise ValueParseError(f"Enter a whole number such as {self._example}", self.describe_accepted())
        return number, None

    @property
    def labelled_pattern(self) -> str:
        """A regular expression for the texts that mean a number, valid in Python and ECMAScript.

        They are the numbers within the bounds with their suffix, and the spellings.
        """
        texts = "|".join(re.escape(text) for text, _ in self.spellings)
        if not self.suffix:
            return f"^(?:{texts})$"
        numbers = "|".join(str(number) for number in range(self.at_least, self.at_most + 1))
        labelled = f"(?:{numbers})[{self.suffix.upper()}{self.suffix.lower()}]"
        return f"^(?:{labelled}|{texts})$" if texts else f"^{labelled}$"

    @property
    def _example(self) -> int:
        return min(max(4, self.at_least), self.at_most)

    def convert_numbers(self, numbers: Any, unit: Unit | None) -> tuple[Any, BoolArray]:
        """Return the numbers, and which of them are whole and within the bounds."""
        valid = (numbers >= self.at_least) & (numbers <= self.at_most)
        valid &= np.floor(numbers) == numbers
        return numbers, valid

    def to_json(self, value: Any) -> int | None:
        """Return one number as JSON has it."""
        return int(value) if math.isfinite(value) else None

    def format_text(self, value: Any, digits: int, *, absolute: bool = False) -> str:
        """Return one number for a sentence, by its usual spelling."""
        usual = {number: text for text, number in reversed(self.spellings)}
        return usual.get(value) or BaseKind.format_text(self, value, digits)

    def find_input_problems(self, siblings: Mapping[str, Kind]) -> Iterator[str]:
        """Yield what is wrong with bounds and default."""
        if self.at_least > self.at_most:
            yield f"at_least {self.at_least} is above at_most {self.at_most}"
        elif self.default is not None and not self.at_least <= self.default <= self.at_most:
            yield f"default {self.default} outside its bounds"
        outside = [text for text, number in self.spellings if not self.at_least <= number <= self.at_most]
        yield from (f"{text!r} means a number outside its bounds" for text in outside)
        yield from BaseKind.find_input_problems(self, siblings)


@dataclass(frozen=True, slots=True)
class Choice(BaseKind):
    """One of a few words. The formula gets positions in ``options``; -1 where none was given."""

    options: tuple[str, ...]
    description: str
    _: KW_ONLY
    default: str | None = None
    option_labels: tuple[str, ...] = ()
    """What people read in place of each option; without them the options with spaces for hyphens."""

    kind_name: ClassVar[str] = "choice"
    dtype_kinds: ClassVar[str] = "i"

    def get_option_label(self, option: str) -> str:
        """Return what people read in place of an option."""
        labels = dict(zip(self.options, self.option_labels, strict=False))
        return labels.get(option) or re.sub(r"[-_]", " ", option)

    def describe_accepted(self) -> str:
        """Return what an input accepts, in words."""
        return join_with_or(self.options)

    def parse(self, cell: object, *, text: bool, bare: Unit | None = None) -> tuple[int, None]:
        """Return the position of a cell in the options."""
        if isinstance(cell, str) and cell in self.options:
            return self.options.index(cell), None
        raise ValueParseError(
            "Unknown option", self.describe_accepted(), (cell, self.options, {}) if isinstance(cell, str) else None
        )

    def to_internal(self, value: Any) -> int:
        """Return the position of an option."""
        return self.options.index(value)

    def make_empty(self, rows: int) -> Any:
        """Return -1 in each row."""
        return repeat(np.intp(-1), rows)

    def is_empty(self, values: Any) -> BoolArray:
        """Return where no option is given."""
        return np.asarray(values < 0)

    def to_json(self, value: Any) -> str | None:
        """Return one option."""
        return self.options[value] if value >= 0 else None

    def list_json(self, values: Any) -> list[Any]:
        """Return options."""
        return [self.to_json(value) for value in values.tolist()]

    def format_text(self, value: Any, digits: int, *, absolute: bool = False) -> str:
        """Return one option for a sentence."""
        return self.options[int(value)]

    def find_input_problems(self, siblings: Mapping[str, Kind]) -> Iterator[str]:
        """Yield what is wrong with the default."""
        if self.default is not None and self.default not in self.options:
            yield f"default {self.default} is not an option"
        if self.option_labels and len(self.option_labels) != len(self.options):
            yield "as many option_labels as options are needed"
        yield from BaseKind.find_input_problems(self, siblings)


@dataclass(frozen=True, slots=True)
class Flag(BaseKind):
    """Yes or no."""

    description: str
    _: KW_ONLY
    default: bool = False

    kind_name: ClassVar[str] = "flag"
    dtype_kinds: ClassVar[str] = "b"

    def describe_accepted(self) -> str:
        """Return what an input accepts, in words."""
        return "true or false"

    def parse(self, cell: object, *, text: bool, bare: Unit | None = None) -> tuple[bool, None]:
        """Return the value of a cell."""
        if text and cell in ("true", "false"):
            return cell == "true", None
        if isinstance(cell, bool):
            return cell, None
        raise ValueParseError(f"Enter true or false, not {describe_type(cell)}", self.describe_accepted())

    def make_empty(self, rows: int) -> Any:
        """Return False in each row."""
        return repeat(np.False_, rows)

    def is_empty(self, values: Any) -> BoolArray:
        """Return False in each row, as every flag has a value."""
        return np.zeros(len(values), dtype=np.bool_)


@dataclass(frozen=True, slots=True)
class Text(BaseKind):
    """A short printable text: the name of a part, or with ``pattern`` a text of a certain form, such as a ratio."""

    description: str
    _: KW_ONLY
    max_length: int = 80
    default: str | None = None
    pattern: str = ""
    """A regular expression that the whole text must match, valid in Python and ECMAScript."""
    form: str = ""
    """The pattern in words."""
    like: tuple[str, ...] = ()
    """Examples of texts that match the pattern."""
    check: Callable[[str], object] | None = None
    """A function that raises ValueError with the reason why a text is invalid."""

    kind_name: ClassVar[str] = "text"
    dtype_kinds: ClassVar[str] = "UT"

    def describe_accepted(self) -> str:
        """Return what an input accepts, in words."""
        if self.pattern:
            return self.form + (f", such as {join_with_or(self.like)}" if self.like else "")
        return f"1 to {self.max_length} printable characters"

    def parse(self, cell: object, *, text: bool, bare: Unit | None = None) -> tuple[str, None]:
        """Return a valid text."""
        if not isinstance(cell, str):
            raise ValueParseError(f"Enter text, not {describe_type(cell)}", self.describe_accepted())
        if len(cell) > self.max_length:
            raise ValueParseError(
                f"Enter at most {self.max_length} characters, not {len(cell)}", self.describe_accepted()
            )
        if not _PRINTABLE.fullmatch(cell):
            raise ValueParseError("Enter at least one character, and only printable ones", self.describe_accepted())
        if self.pattern and not re.fullmatch(self.pattern, cell):
            raise ValueParseError(self._explain(cell), self.describe_accepted())
        return cell, None

    def _explain(self, cell: str) -> str:
        try:
            if self.check is not None:
                self.check(cell)
        except ValueError as error:
            return str(error)
        return "The text does not have the required form"

    def make_empty(self, rows: int) -> Any:
        """Return an empty text in each row."""
        return repeat(np.array("", dtype=f"<U{self.max_length}"), rows)

    def is_empty(self, values: Any) -> BoolArray:
        """Return where a text is empty."""
        return np.asarray(values == "")

    def to_json(self, value: Any) -> str | None:
        """Return one text; an empty one is none."""
        return str(value) or None

    def format_text(self, value: Any, digits: int, *, absolute: bool = False) -> str:
        """Return one text for a sentence."""
        return str(value)

    def find_input_problems(self, siblings: Mapping[str, Kind]) -> Iterator[str]:
        """Yield what is wrong with the pattern."""
        if self.pattern:
            texts = (*self.like, *((self.default,) if self.default else ()))
            yield from (
                f"{text!r} does not match the pattern" for text in texts if not re.fullmatch(self.pattern, text)
            )
            if not self.form or not self.like:
                yield "a pattern needs its form in words and some texts like it"
        yield from BaseKind.find_input_problems(self, siblings)
