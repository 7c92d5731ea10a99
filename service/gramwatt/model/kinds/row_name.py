"""The kind of field that names a row of a table in the same request."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import KW_ONLY, dataclass
from typing import Any, ClassVar, Final

import numpy as np

from gramwatt.arrays import BoolArray
from gramwatt.model.kinds._base import BaseKind, repeat
from gramwatt.model.messages import join_with_or
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
            raise ValueParseError(f"Enter text, not {describe_type(cell)}", self.describe_accepted())
        known = list(dict.fromkeys(name for name in names if name))[:MAX_LISTED_ROWS]
        accepted = join_with_or(known) if known else self.describe_accepted()
        times = names.count(cell)
        if not names:
            raise ValueParseError(f"No {self.of} are given, so none can be named", accepted)
        if not times or not cell:
            raise ValueParseError(f"None of the {self.of} has this name", accepted, (cell, known, {}))
        if times > 1:
            others = [name for name in known if names.count(name) == 1]
            raise ValueParseError(
                f"{times} of the {self.of} have this name: give each a name of its own",
                join_with_or(others) if others else self.describe_accepted(),
            )
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
