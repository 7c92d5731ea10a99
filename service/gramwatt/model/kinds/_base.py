"""What all kinds of field have in common, and the fields of a declaration."""

from __future__ import annotations

import dataclasses
import functools
import typing
from collections.abc import Hashable, Iterator, Mapping
from dataclasses import KW_ONLY, dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, ClassVar, NamedTuple

import numpy as np

from gramwatt.arrays import BoolArray
from gramwatt.model.deprecation import Deprecation
from gramwatt.model.errors import DeclarationError
from gramwatt.model.groups import Group
from gramwatt.model.messages import format_quantity
from gramwatt.model.units import Unit

if TYPE_CHECKING:
    from gramwatt.model.kinds import Kind, Quantity


class Term(NamedTuple):
    """A term of a sum of a craft: an input, or a column of a table; of all its rows, or of the row that is chosen."""

    name: str
    """``dry_mass``, or ``parts.mass``."""
    times: str = ""
    """What it is multiplied by: another column of the same row, or an input."""
    is_base: bool = False
    """Whether the sum may consist of it; there is no sum without any such term."""


@dataclass(frozen=True, slots=True)
class BaseKind:
    """The base of all kinds of field. A new kind overrides what differs from a plain number."""

    _: KW_ONLY
    label: str = ""
    """What people read in place of the name: sentence case, in words that builders use, without the unit."""
    group: Group | None = None
    """Of an input: where a form shows it."""
    synonyms: tuple[str, ...] = ()
    """Of an input: other names that people may give it, to suggest its own."""
    follows: tuple[str, ...] = ()
    """Of an input: results of other calculators that may fill it, the best first."""
    default: float | int | str | bool | None = None
    """In the declared unit."""
    optional: bool = False
    replaces: tuple[str, ...] = ()
    """Inputs that are neither used nor given their default where this one is given."""
    sum_of: tuple[Term, ...] = ()
    """What adds up to this input where a craft document does not give it: to a quantity, or to the rows of a table."""
    formula: str | tuple[str, ...] = ""
    """Of a result or a step: an expression over names, true in SI units (see `expressions`); a test evaluates it. Of
    several the first whose names all have a value is the one that was used."""
    method: str = ""
    """Of a result or a step: how it is computed, in words, with ``` `expressions` ``` in them. Of one with several
    formulas: what holds where none of them applies."""
    needs: tuple[str, ...] = ()
    """Of a result: the optional inputs without which it has no value."""
    deprecated: Deprecation | None = None
    """Of an input or a result: that it will go."""

    kind_name: ClassVar[str]
    """The public name of the kind: published versions of the web component read it."""
    is_numeric: ClassVar[bool] = False
    """Whether a value is one number."""
    is_nested: ClassVar[bool] = False
    """Whether only one request at a time is read, as the lengths of two need not agree."""
    fits_query: ClassVar[bool] = True
    """Whether a value can be sent in a query string."""
    is_given: ClassVar[bool] = True
    """Whether a request may give a value."""
    in_rows: ClassVar[bool] = True
    """Whether a row of a table, or a sample of a recording, can have one."""
    is_result: ClassVar[bool] = True
    """Whether a result can be of this kind."""
    dtype_kinds: ClassVar[str] = "f"
    """Numpy's codes of the arrays that a formula may return for it."""

    @property
    def is_required(self) -> bool:
        """Whether an input must be given, its own declaration alone considered."""
        return not self.optional and self.default is None

    @property
    def formulas(self) -> tuple[str, ...]:
        """The formulas, in the order in which they are tried."""
        return self.formula if isinstance(self.formula, tuple) else (self.formula,) if self.formula else ()

    @property
    def has_numbers(self) -> bool:
        """Whether its values are numbers, one or several, whose uncertainty can be computed."""
        return self.is_numeric or self.quantity is not None

    @property
    def columns(self) -> Mapping[str, Kind]:
        """The fields of a row of a table, or the channels of a recording; none of other kinds."""
        return {}

    @property
    def quantity(self) -> Quantity | None:
        """The quantity itself, or that of each entry of a list; None of other kinds."""
        return None

    def describe_accepted(self) -> str:
        """Return what an input accepts, in words."""
        raise TypeError(self)

    def parse(self, cell: object, *, text: bool, bare: Unit | None = None) -> tuple[Any, float | None]:
        """Return a cell as the formula gets it, and its standard uncertainty if it has one.

        ``bare`` is the unit of a number without one, if that is not the declared unit. Raises ValueParseError.
        """
        raise TypeError(self)

    def convert_numbers(self, numbers: Any, unit: Unit | None) -> tuple[Any, BoolArray]:
        """Return numbers (N,) in a unit as the formula gets them, and which of them are within the bounds."""
        raise TypeError(self)

    def to_internal(self, value: Any) -> Any:
        """Return a declared value as the formula gets it: in SI units, or a position in the options."""
        return value

    def make_empty(self, rows: int) -> Any:
        """Return the values of ``rows`` requests that do not give this input; read-only."""
        return repeat(np.float64(np.nan), rows)

    def is_empty(self, values: Any) -> BoolArray:
        """Return where values (N,) are those of an input that was not given."""
        return np.asarray(np.isnan(values))

    def to_json(self, value: Any) -> Any:
        """Return one value as JSON has it; None if there is none."""
        return value.item()

    def list_json(self, values: Any) -> list[Any]:
        """Return values (M,) of a table's column as JSON has them."""
        return list(values.tolist())

    def get_units(self, name: str) -> dict[str, str]:
        """Return the declared units of all quantities in a field, by name: ``parts.mass`` of a table's column."""
        return {}

    def format_text(self, value: Any, digits: int, *, absolute: bool = False) -> str:
        """Return one value for a sentence; with ``absolute``, temperatures from zero kelvin."""
        return format_quantity(float(value), "1", digits)

    def find_input_problems(self, siblings: Mapping[str, Kind]) -> Iterator[str]:
        """Yield what is wrong with the declaration of an input beside its ``siblings``."""
        for name in self.replaces:
            if name not in siblings:
                yield f"replaces {name}, which does not exist"
            elif siblings[name].is_required:
                yield f"replaces {name}, which is required"

    def find_result_problems(self, inputs: Mapping[str, Kind]) -> Iterator[str]:
        """Yield what is wrong with the declaration of a result."""
        if not self.is_result:
            yield f"a result cannot be a {type(self).__name__}"
        elif not (self.method or self.formula):
            yield "a result needs a formula or a method"
        yield from (f"needs {name}, which does not exist" for name in self.needs if name not in inputs)
        of_inputs = {"group": self.group, "synonyms": self.synonyms, "follows": self.follows, "sum_of": self.sum_of}
        yield from (f"{name} is for inputs only" for name, value in of_inputs.items() if value)


def get_label(name: str, kind: BaseKind) -> str:
    """Return what people read in place of the name of a field."""
    return kind.label or name.replace("_", " ").capitalize()


def collect_synonyms(kinds: Mapping[str, BaseKind]) -> dict[str, str]:
    """Return the names of fields by the other names that people may give them, also by their labels."""
    labels = {get_label(name, kind): name for name, kind in kinds.items()}
    return labels | {synonym: name for name, kind in kinds.items() for synonym in kind.synonyms}


def find_row_problems(fields: Mapping[str, Kind]) -> Iterator[str]:
    """Yield what is wrong with the declaration of the fields in a row of inputs."""
    for name, kind in fields.items():
        if not kind.in_rows:
            yield f"{name}: a row cannot have a {type(kind).__name__}"
        yield from (f"{name}: {problem}" for problem in kind.find_input_problems(fields))


def repeat(value: Any, rows: int) -> Any:
    """Return a value in each of ``rows`` rows; read-only."""
    if rows > 1:
        return np.broadcast_to(value, (rows,))
    values = np.full(rows, value)
    values.flags.writeable = False
    return values


def get_fields(declaration: type[Any]) -> Mapping[str, Kind]:
    """Return the kinds of a declaration's fields, in order. Raises DeclarationError if a field has none."""
    return _get_fields(typing.cast("Hashable", declaration))


@functools.cache
def _get_fields(declaration: Hashable) -> Mapping[str, Kind]:
    if not isinstance(declaration, type) or not dataclasses.is_dataclass(declaration):
        raise DeclarationError(f"{declaration} is not a dataclass")
    hints = typing.get_type_hints(declaration, include_extras=True)
    fields: dict[str, Any] = {}
    for name in (field.name for field in dataclasses.fields(declaration)):
        kinds = [note for note in getattr(hints[name], "__metadata__", ()) if isinstance(note, BaseKind)]
        if len(kinds) != 1:
            raise DeclarationError(f"{declaration.__qualname__}.{name}: declare exactly one kind, found {len(kinds)}")
        fields[name] = kinds[0]
    return MappingProxyType(fields)
