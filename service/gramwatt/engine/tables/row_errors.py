"""How a row's faults are told inside a table: in full for the first rows that have any, then in short, and counted."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from gramwatt.engine.calculate import worded
from gramwatt.engine.columns import escape_name
from gramwatt.engine.messages import Fault, echo, printable
from gramwatt.engine.tables.compute import Answered

MOST_IN_FULL: Final = 1000
MOST_OF_A_ROW: Final = 5
MOST_SUMMARIES: Final = 100


@dataclass(slots=True)
class ErrorTeller:
    """Tells faults and counts the rows that have them."""

    rows: int = 0
    _summaries: dict[tuple[str, ...], str] = field(default_factory=dict)

    def text(self, row: int, faults: Sequence[Fault]) -> str:
        """One line about row ``row``, counted from 1."""
        self.rows += 1
        if self.rows > MOST_IN_FULL:
            return f"row {row}: {self._summarize(faults)}; the {self.rows:,}th row with a fault, told in short"
        told = "; ".join(worded(fault).removeprefix("question: ") for fault in faults[:MOST_OF_A_ROW])
        more = len(faults) - MOST_OF_A_ROW
        return printable(f"row {row}: {told}" + (f"; and {more} more" if more > 0 else ""))

    def as_object(self, row: int, faults: Sequence[Fault]) -> dict[str, Any]:
        """The same for JSON: the row, a detail, and each fault as in a problem's ``errors``."""
        self.rows += 1
        if self.rows > MOST_IN_FULL:
            detail = f"{self._summarize(faults)}; the {self.rows:,}th row with a fault, told in short"
            return {"row": row, "detail": detail}
        detail = "; ".join(_line(fault) for fault in faults[:3])
        more = len(faults) - 3
        return {
            "row": row,
            "detail": printable(detail[:2000] + (f"; and {more} more" if more > 0 else "")),
            "errors": [
                {
                    "pointer": fault.pointer,
                    "detail": printable(fault.detail),
                    "given": fault.given,
                    "accepted": fault.accepted,
                }
                for fault in faults[:MOST_OF_A_ROW]
            ],
        }

    def _summarize(self, faults: Sequence[Fault]) -> str:
        """Return the number of a row's faults and where they are, made once for all rows that have few in one place."""
        pointers = tuple([fault.pointer for fault in faults])
        if len(pointers) > MOST_OF_A_ROW:
            return printable(_summary(pointers))
        summary = self._summaries.get(pointers)
        if summary is None:
            if len(self._summaries) >= MOST_SUMMARIES:
                self._summaries.clear()
            summary = self._summaries[pointers] = printable(_summary(pointers))
        return summary


def with_left_out(piece: Answered, columns: Collection[str]) -> Mapping[int, Sequence[Fault]]:
    """The faults of a piece; and, beside its results, where a row has a column to pass through that the first rows did
    not have, when the columns of the answer were settled."""
    late = [name for name in piece.kept if name not in columns]
    if not late:
        return piece.faults
    faults = {row: list(found) for row, found in piece.faults.items()}
    for name in late:
        for row, value in enumerate(piece.kept[name]):
            if value is not None:
                detail = f"{echo(name)} is left out: the first rows had no such column"
                accepted = f"keep={echo(name)}, or {echo(name)} in the first row"
                faults.setdefault(row, []).append(Fault(f"/{escape_name(name)}", detail, echo(value), accepted))
    return faults


def _line(fault: Fault) -> str:
    where = fault.pointer[1:].replace("/", ".")
    return fault.detail if not where or fault.detail.startswith(where) else f"{where}: {fault.detail}"


def _summary(pointers: Sequence[str]) -> str:
    names = dict.fromkeys(pointer[1:].partition("/")[0] or "the row" for pointer in pointers)
    return f"{len(pointers)} fault{'' if len(pointers) == 1 else 's'} in {', '.join(list(names)[:MOST_OF_A_ROW])}"
