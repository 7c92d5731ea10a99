"""Build the cautions of a response: why results are missing, and what to know before using the others."""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Collection, Iterator, Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gramwatt.engine.column_types import all_false
from gramwatt.engine.defaults import get_replacements
from gramwatt.engine.evaluate import Outcome
from gramwatt.engine.uncertainty import MIN_EXPLAINED
from gramwatt.model import AnyCalculator, Caution, Kind, Quantity, Rule, units
from gramwatt.model.messages import format_estimate, format_quantity, format_share, join_with_and

POSSIBLY: Final = "possibly-"
"""Before the code of a rule that holds in some of the likely cases only."""
NO_RESULT: Final = "no-result"
"""After it, where no rule explains why some of them have no result."""


def find_known_inputs(outcome: Outcome, row: int) -> set[str]:
    """Return the inputs that have a value in a row: given and used, assumed, or solved from others."""
    no_rows = all_false(outcome.rows)
    known = {
        name
        for marks in (outcome.present, outcome.assumed, outcome.solved)
        for name, mark in marks.items()
        if mark is not no_rows and mark[row].any()
    }
    known.difference_update([name for name, mark in outcome.unused.items() if mark is not no_rows and mark[row]])
    return known


@functools.cache
def get_constant_cautions(calculator: AnyCalculator) -> Mapping[str, Mapping[str, str]]:
    """Return the cautions whose text names no value, by code."""
    return {
        caution.code: {"code": caution.code, "text": caution.text}
        for caution in calculator.cautions
        if "{" not in caution.text
    }


def build_cautions(
    outcome: Outcome, row: int, results: Mapping[str, Any], known: Collection[str]
) -> list[dict[str, Any]]:
    """Return the cautions of a row: reasons for missing results, then what concerns this request, then the others.

    ``known`` are the `find_known_inputs` of the row.
    """
    missing = list(_find_missing_results(results))
    constant = get_constant_cautions(outcome.calculator)
    reasons: list[dict[str, Any]] = []
    conditional = _list_replaced_inputs(outcome, row)
    permanent: list[dict[str, Any]] = []
    for notice in outcome.notices:
        source, holds = notice.source, notice.rows[row]
        if isinstance(source, Caution) and source.code in constant:
            if holds.any():
                (permanent if source.is_always_shown else conditional).append(dict(constant[source.code]))
            continue
        for at in np.flatnonzero(holds).tolist() if holds.ndim else [None] * bool(holds):
            caution: dict[str, Any] = {"code": source.code, "text": _fill_text(source.text, outcome, row, at)}
            if not isinstance(source, Rule):
                (permanent if source.is_always_shown else conditional).append(caution)
                continue
            names = [name if at is None else name.replace(".", f".{at}.") for name in source.results]
            explained = [name for name in names if name in missing]
            missing = [name for name in missing if name not in explained]
            if explained:
                reasons.append({**caution, "results": explained})
    unexplained = [_explain_missing_result(outcome.calculator, name, known) for name in missing]
    return reasons + unexplained + _list_doubtful_results(outcome, row, results) + conditional + permanent


def _list_doubtful_results(outcome: Outcome, row: int, results: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return a caution for results that some of the likely cases do not have, by the rule that explains them."""
    if outcome.uncertainty is None or not outcome.uncertainty.no_result:
        return []
    doubtful = _find_doubtful_results(outcome.uncertainty.no_result, row, results)
    cautions: list[dict[str, Any]] = []
    for rule in outcome.calculator.rules:
        shares = outcome.uncertainty.rules[rule.code][row]
        for at in (
            np.flatnonzero(shares > MIN_EXPLAINED).tolist() if shares.ndim else [None] * int(shares > MIN_EXPLAINED)
        ):
            names = [name if at is None else name.replace(".", f".{at}.") for name in rule.results]
            explained = [name for name in names if name in doubtful]
            if explained:
                share = max(doubtful.pop(name) for name in explained)
                happens = _fill_text(rule.partly, outcome, row, at) or f"{join_with_and(explained)} have no value"
                text = f"In {format_share(share)} of the likely cases {happens}."
                cautions.append({"code": POSSIBLY + rule.code, "text": text})
    if doubtful:
        share = max(doubtful.values())
        text = f"In {format_share(share)} of the likely cases {join_with_and(doubtful)} have no value."
        cautions.append({"code": POSSIBLY + NO_RESULT, "text": text})
    return cautions


def _find_doubtful_results(
    no_result: Mapping[str, NDArray[np.float64]], row: int, results: Mapping[str, Any]
) -> dict[str, float]:
    """Return the results with a value that more than `MIN_EXPLAINED` of the draws do not have, with that share."""
    doubtful: dict[str, float] = {}
    for name, share in no_result.items():
        table, _, column = name.rpartition(".")
        if table:
            entries = zip(results[table], share[row].tolist(), strict=False)
            doubtful |= {
                f"{table}.{at}.{column}": each
                for at, (inner, each) in enumerate(entries)
                if inner.get(column) is not None
            }
        elif results[name] is not None:
            doubtful[name] = float(share[row].max())
    return {name: share for name, share in doubtful.items() if share > MIN_EXPLAINED}


def _find_missing_results(results: Mapping[str, Any]) -> Iterator[str]:
    """Yield the names of results without a value; in a table ``packs.2.endurance``."""
    for name, value in results.items():
        if value is None:
            yield name
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            for at, inner in enumerate(value):
                if None in inner.values():
                    yield from (f"{name}.{at}.{column}" for column, cell in inner.items() if cell is None)


def _explain_missing_result(calculator: AnyCalculator, name: str, known: Collection[str]) -> dict[str, Any]:
    """Return the reason for a missing result that no rule explains."""
    kind: Kind = calculator.result_fields[name.partition(".")[0]]
    if kind.columns:
        kind = kind.columns[name.rpartition(".")[2]]
    needed = [need for need in kind.needs if need not in known]
    if needed:
        text = f"{name} has no answer without {' and '.join(needed)}."
        return {"code": "needs-input", "text": text, "results": [name]}
    return {"code": "no-answer", "text": f"{name} has no finite answer for these inputs.", "results": [name]}


def _list_replaced_inputs(outcome: Outcome, row: int) -> list[dict[str, Any]]:
    """Return a caution for inputs that are given but not used, since another one replaces them."""
    cautions: list[dict[str, Any]] = []
    no_rows = all_false(outcome.rows)
    for name, others in get_replacements(outcome.calculator).by:
        marks = [(other, outcome.unused[other]) for other in others]
        replaced = [other for other, mark in marks if mark is not no_rows and mark[row]]
        if replaced and outcome.present[name][row]:
            were = "was" if len(replaced) == 1 else "were"
            text = f"{' and '.join(replaced)} {were} not used: {name} was given instead."
            cautions.append({"code": "not-used", "text": text})
    return cautions


def _fill_text(text: str, outcome: Outcome, row: int, at: int | None = None) -> str:
    """Return the text with values and units for ``{name}``, or for ``{table.column}`` of table row ``at``."""
    return re.sub(r"\{([\w.]+)\}", lambda match: _format_rounded(outcome, row, match[1], at), text)


def _format_rounded(outcome: Outcome, row: int, name: str, at: int | None) -> str:
    """Return an input, or a result rounded to the place of its uncertainty, with its unit."""
    owner, _, column = name.rpartition(".")
    kind = outcome.calculator.result_fields.get(owner or column)
    kind = kind.columns.get(column) if kind is not None and owner else kind
    if not isinstance(kind, Quantity) or (owner and at is None):
        return format_field(outcome, row, name, digits=5, at=at)
    values = getattr(getattr(outcome.results, owner) if owner else outcome.results, column)[row]
    standard = np.float64(np.nan)
    if outcome.uncertainty is not None and name in outcome.uncertainty.standard:
        standard = outcome.uncertainty.standard[name][row]
    value, uncertainty = (float(each[at] if owner else each) for each in (values, standard + np.zeros_like(values)))
    value = float(units.convert_from_si(np.array(value), kind.unit))
    if not math.isfinite(value):
        return format_quantity(value, kind.unit)
    text = format_estimate(value, kind.unit, uncertainty / units.get_unit(kind.unit).scale).value
    return text if kind.unit == "1" else f"{text} {kind.unit}"


def format_field(
    outcome: Outcome, row: int, name: str, digits: int, *, at: int | None = None, absolute: bool = False
) -> str:
    """Return an input or a result of a row with its unit; with ``absolute``, temperatures from zero kelvin."""
    table, _, column = name.rpartition(".")
    owner = table or column
    result_fields = outcome.calculator.result_fields
    kind = result_fields.get(owner) or outcome.calculator.input_fields[owner]
    values = getattr(outcome.results if owner in result_fields else outcome.inputs, owner)
    if kind.columns:
        kind, values = kind.columns[column], getattr(values, column)
    value = values[row] if at is None or not table else values[row][at]
    return kind.format_text(value, digits, absolute=absolute)
