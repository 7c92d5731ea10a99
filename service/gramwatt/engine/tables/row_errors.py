"""Report the errors of rows inside a table: in full for the first invalid rows, then as a summary."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from gramwatt.engine.calculate import format_error
from gramwatt.engine.columns import escape_name
from gramwatt.engine.tables.chunks import BatchResult
from gramwatt.model.messages import InputError, quote_input, replace_control_characters

MAX_DETAILED_ROWS: Final = 1000
MAX_ERRORS_PER_ROW: Final = 5
MAX_CACHED_SUMMARIES: Final = 100


@dataclass(slots=True)
class RowErrorReporter:
    """Formats errors and counts the invalid rows."""

    invalid_rows: int = 0
    _summaries: dict[tuple[str, ...], str] = field(default_factory=dict)

    def format_text(self, row: int, errors: Sequence[InputError]) -> str:
        """Return one line about row ``row``, counted from 1."""
        self.invalid_rows += 1
        if self.invalid_rows > MAX_DETAILED_ROWS:
            return f"row {row}: {self._summarize(errors)}; the {self.invalid_rows:,}th invalid row, shown as a summary"
        text = "; ".join(format_error(error).removeprefix("request: ") for error in errors[:MAX_ERRORS_PER_ROW])
        more = len(errors) - MAX_ERRORS_PER_ROW
        return replace_control_characters(f"row {row}: {text}" + (f"; and {more} more" if more > 0 else ""))

    def to_object(self, row: int, errors: Sequence[InputError]) -> dict[str, Any]:
        """Return the errors as a JSON object: the row, a detail, and each error as in the ``errors`` of a problem."""
        self.invalid_rows += 1
        if self.invalid_rows > MAX_DETAILED_ROWS:
            detail = f"{self._summarize(errors)}; the {self.invalid_rows:,}th invalid row, shown as a summary"
            return {"row": row, "detail": detail}
        detail = "; ".join(_format_detail(error) for error in errors[:3])
        more = len(errors) - 3
        return {
            "row": row,
            "detail": replace_control_characters(detail[:2000] + (f"; and {more} more" if more > 0 else "")),
            "errors": [
                {
                    "pointer": error.pointer,
                    "detail": replace_control_characters(error.detail),
                    "given": error.given,
                    "accepted": error.accepted,
                }
                for error in errors[:MAX_ERRORS_PER_ROW]
            ],
        }

    def _summarize(self, errors: Sequence[InputError]) -> str:
        """Return the number of errors and their fields. Rows with few errors in the same fields share the text."""
        pointers = tuple([error.pointer for error in errors])
        if len(pointers) > MAX_ERRORS_PER_ROW:
            return replace_control_characters(_summary(pointers))
        summary = self._summaries.get(pointers)
        if summary is None:
            if len(self._summaries) >= MAX_CACHED_SUMMARIES:
                self._summaries.clear()
            summary = self._summaries[pointers] = replace_control_characters(_summary(pointers))
        return summary


def errors_with_dropped_columns(result: BatchResult, columns: Collection[str]) -> Mapping[int, Sequence[InputError]]:
    """Return the errors of a result, and an error where a row has a pass-through column that the first rows lack.

    The first rows decide the columns of the output.
    """
    dropped = [name for name in result.passthrough_columns if name not in columns]
    if not dropped:
        return result.errors
    errors = {row: list(row_errors) for row, row_errors in result.errors.items()}
    for name in dropped:
        for row, value in enumerate(result.passthrough_columns[name]):
            if value is not None:
                detail = f"{quote_input(name)} is left out, since the first rows have no such column"
                accepted = f"keep={quote_input(name)}, or {quote_input(name)} in the first row"
                errors.setdefault(row, []).append(
                    InputError(f"/{escape_name(name)}", detail, quote_input(value), accepted)
                )
    return errors


def _format_detail(error: InputError) -> str:
    where = error.place
    return error.detail if not where or error.detail.startswith(where) else f"{where}: {error.detail}"


def _summary(pointers: Sequence[str]) -> str:
    names = dict.fromkeys(pointer[1:].partition("/")[0] or "the row" for pointer in pointers)
    return f"{len(pointers)} error{'' if len(pointers) == 1 else 's'} in {', '.join(list(names)[:MAX_ERRORS_PER_ROW])}"
