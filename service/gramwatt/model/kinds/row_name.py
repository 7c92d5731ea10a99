"""The kind of field that names a row of a table in the same request."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import KW_ONLY, dataclass
from typing import Any, ClassVar, Final

import numpy as np

from gramwatt.arrays import BoolArray
from gramwatt.model.kinds._base import BaseKind, repeat
from gramwatt.model.messages import join_with_or, quote_input
from gramwatt.model.parsing import ValueParseError, describe_type

MAX_LISTED_ROWS: Final = 20
"""Names of rows that an error lists."""


def number_names(names: Sequence[str | None], default: str) -> list[str]:
    """Return the names of rows: without one the default, with the row's number where other rows would have it too."""
    if names.count(None) + names.count(default) <= 1:
        return [default if name is None else name for name in names]
    taken = set(names)
    numbered = []
    for at, name in enumerate(names, 1):
        number = at
        while name is None and f"{default} {number}" in taken:
            number += len(names)
        numbered.append(f"{default} {number}" if name is None else name)
    return numbered


@dataclass(frozen=True, slots=True)
class RowName(BaseKind):
    """The name of a row of a table among the inputs. The formula gets positions of rows; -1 where none was given.

    That table has a `Text` column ``name``. The kind is read last, when the names are known.
    """

    of: str
    """The table, by the name of the input."""
    description: str
    _: KW_ONLY
    optional: bool = True

    kind_name: ClassVar[str] = "row-name"
    is_nested: ClassVar[bool] = True
    is_result: ClassVar[bool] = False
    dtype_kinds: ClassVar[str] = "i"

    def describe_accepted(self) -> str:
        """Return what an input accepts, in words."""
        return f"the name of one of the {self.of}"

    def find_row(self, cell: object, names: Sequence[str]) -> int:
        """Return the position of the row that a cell names. Raises ValueParseError if that is not exactly one."""
        if not isinstance(cell, str):
            raise ValueParseError(f"Enter a name, not {describe_type(cell)}", self.describe_accepted())
        if not names:
            raise ValueParseError(f"No {self.of} are given, so none can be named", self.describe_accepted())
        times = names.count(cell) if cell else 0
        if times != 1:
            single = [name for name in names if name and names.count(name) == 1]
            accepted = join_with_or(single[:MAX_LISTED_ROWS]) if single else self.describe_accepted()
            if times:
                detail = f'{times} rows of {self.of} have the name "{quote_input(cell)}": give each a name of its own'
                raise ValueParseError(detail, accepted)
            detail = f'There is no row "{quote_input(cell)}" in {self.of}'
            raise ValueParseError(detail, accepted, (cell, [name for name in names if name], {}))
        return names.index(cell)

    def make_empty(self, rows: int) -> Any:
        """Return -1 in each row."""
        return repeat(np.intp(-1), rows)

    def is_empty(self, values: Any) -> BoolArray:
        """Return where no row is named."""
        return np.asarray(values < 0)

    def to_json(self, value: Any) -> int | None:
        """Return the position of a row; a response has its name instead."""
        return int(value) if value >= 0 else None

    def list_json(self, values: Any) -> list[Any]:
        """Return positions of rows."""
        return [self.to_json(value) for value in values.tolist()]
