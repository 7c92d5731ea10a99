"""The kinds of field a calculator is declared in: what an input or a result is, in which unit, within which bounds.

A field is ``Annotated[Array, Quantity(...)]`` on a frozen dataclass. `declare` holds them together in a Calculator, and
gives every name here on.
"""

from __future__ import annotations

import dataclasses
import functools
import typing
from collections.abc import Callable, Hashable, Mapping
from dataclasses import KW_ONLY, dataclass
from types import MappingProxyType
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from gramwatt.arrays import Array

RecordingArray: TypeAlias = NDArray[np.object_]
"""Of a `TimeSeries`, shape (N,): a `Recording` each, None where none was given."""


class DeclarationError(TypeError):
    """A calculator says something that cannot be served; the text lists every fault found."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with a unit. Bounds and default are in that unit; the formula sees SI."""

    unit: str
    description: str
    _: KW_ONLY
    above: float | None = None
    at_least: float | None = None
    below: float | None = None
    at_most: float | None = None
    default: float | None = None
    default_u: float | None = None
    """Standard uncertainty of the default, which counts wherever the default is assumed."""
    optional: bool = False
    replaces: tuple[str, ...] = ()
    """Inputs that are not used, nor given their default, where this one is given."""
    formula: str = ""
    """Of a result: an expression over names of inputs and results, true in SI units; a test evaluates it."""
    method: str = ""
    """Of a result that no single expression gives: how it is found, in words."""
    needs: tuple[str, ...] = ()
    """Of a result: the optional inputs without which it has no answer."""
    exact: bool = False
    """Of an input: it tells no uncertainty, since none would be carried anywhere."""


@dataclass(frozen=True, slots=True)
class Count:
    """A whole number."""

    description: str
    _: KW_ONLY
    at_least: int
    at_most: int
    default: int | None = None
    optional: bool = False
    replaces: tuple[str, ...] = ()
    formula: str = ""
    method: str = ""


@dataclass(frozen=True, slots=True)
class Choice:
    """One of a few words. The formula sees positions in ``options``."""

    options: tuple[str, ...]
    description: str
    _: KW_ONLY
    default: str | None = None
    optional: bool = False
    replaces: tuple[str, ...] = ()
    method: str = ""
    needs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Flag:
    """Yes or no."""

    description: str
    _: KW_ONLY
    default: bool = False
    method: str = ""


@dataclass(frozen=True, slots=True)
class Text:
    """A short printable text: the name of a part, or with ``pattern`` one of a form of its own, such as a ratio."""

    description: str
    _: KW_ONLY
    max_length: int = 80
    default: str | None = None
    optional: bool = False
    pattern: str = ""
    """What the whole text must match, in what Python's and ECMAScript's regular expressions have alike; then..."""
    form: str = ""
    """...what that is in words, and..."""
    like: tuple[str, ...] = ()
    """...some that are, and..."""
    check: Callable[[str], object] | None = None
    """...what raises ValueError, saying what is wrong with a text that is not."""
    method: str = ""


@dataclass(frozen=True, slots=True)
class NumberList:
    """A list of quantities of one kind. The formula sees shape (N, M); M = 0 where none was given."""

    item: Quantity
    description: str
    _: KW_ONLY
    min_length: int = 1
    max_length: int = 1000
    optional: bool = False
    replaces: tuple[str, ...] = ()
    method: str = ""


@dataclass(frozen=True, slots=True)
class RowCount:
    """How many rows a table of results will have, told before they are made, so that a service can refuse too many."""

    rows: Callable[[Any], Array]
    """From N complete inputs, shape (N,); must cost little."""
    how_to_reduce: str
    """How to ask for fewer, as an imperative."""


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of named fields, of inputs or of results. The formula has one dataclass whose arrays have shape (N, M)."""

    row: type[Any]
    description: str
    _: KW_ONLY
    min_length: int = 1
    max_length: int = 1000
    optional: bool = False
    replaces: tuple[str, ...] = ()
    any_of: tuple[tuple[str, ...], ...] = ()
    """Of inputs: groups of optional fields of which each row must give at least one."""
    standalone: bool = False
    """Of results: in CSV its rows hold nothing but their own columns, under their own names, as there are so many."""
    length: RowCount | None = None
    """Of results, where their number does not follow from that of the entries among the inputs."""


@dataclass(frozen=True, slots=True)
class TimeSeries:
    """A recording: columns of numbers over time, as a flight leaves them. The formula sees `RecordingArray`.

    ``row`` declares its channels as quantities, the time first; the optional ones may lack. What cannot be read, or is
    out of bounds, is no fault: it is left out and counted, since no recording is without holes.
    """

    row: type[Any]
    description: str
    _: KW_ONLY
    max_length: int = 5_000_000
    optional: bool = False
    replaces: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class UnreadableCells:
    """Cells of a column that were left out for one reason: how many, and the first of them, by row from 1."""

    column: str
    reason: str
    """``no-number`` or ``out-of-bounds``; an empty cell is no such, only nan."""
    count: int
    first_row: int
    first_text: str


@dataclass(frozen=True, slots=True, eq=False, weakref_slot=True)
class Recording:
    """A recording as it was read. Two are alike only if they are one, so that a formula may work once on each."""

    samples: Any
    """The declared row: each channel (S,) in SI, nan where nothing was read."""
    rows: int
    columns: tuple[str, ...]
    """The channels that it has."""
    unread: tuple[UnreadableCells, ...] = ()
    unused: tuple[str, ...] = ()
    """Columns that no channel is read from."""
    skipped_lines: int = 0
    """Lines before the header."""


@dataclass(frozen=True, slots=True)
class StandardUncertainty:
    """Not asked for: the standard uncertainty that came with a neighbouring quantity, SI, zero where none did.

    For decisions that must weigh it (is it under the limit?). Propagation to the results needs no such field.
    """

    of: str


Kind: TypeAlias = Quantity | Count | Choice | Flag | Text | NumberList | Table | TimeSeries | StandardUncertainty
KINDS = (Quantity, Count, Choice, Flag, Text, NumberList, Table, TimeSeries, StandardUncertainty)


NESTED: Final = (NumberList, Table, TimeSeries)
"""Kinds of which only one question at a time is read, as their lengths need not agree."""


def get_fields(declaration: type[Any]) -> Mapping[str, Kind]:
    """The kinds of a declaration's fields, in order. Raises DeclarationError where a field has none."""
    return _fields_of(typing.cast("Hashable", declaration))


@functools.cache
def _fields_of(declaration: Hashable) -> Mapping[str, Kind]:
    if not isinstance(declaration, type) or not dataclasses.is_dataclass(declaration):
        raise DeclarationError(f"{declaration} is not a dataclass")
    hints = typing.get_type_hints(declaration, include_extras=True)
    found: dict[str, Kind] = {}
    for name in (field.name for field in dataclasses.fields(declaration)):
        kinds = [note for note in getattr(hints[name], "__metadata__", ()) if isinstance(note, KINDS)]
        if len(kinds) != 1:
            raise DeclarationError(f"{declaration.__qualname__}.{name}: declare exactly one kind, found {len(kinds)}")
        found[name] = kinds[0]
    return MappingProxyType(found)


def default_of(kind: Kind) -> float | int | str | bool | None:
    """The declared default, in the declared unit, or None."""
    return None if isinstance(kind, NumberList | Table | TimeSeries | StandardUncertainty) else kind.default


def is_required(kind: Kind) -> bool:
    """Whether an input must be given, its own declaration alone considered."""
    return not (isinstance(kind, StandardUncertainty | Flag) or kind.optional or default_of(kind) is not None)
