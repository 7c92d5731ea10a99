"""Build the cautions of a response: what these figures show, what a further input would settle, what is always true."""

from __future__ import annotations

import functools
from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gramwatt.engine.caution_texts import fill_text, join_entries
from gramwatt.engine.column_types import all_false
from gramwatt.engine.defaults import get_replacements
from gramwatt.engine.deprecations import describe_deprecations, find_deprecations, has_deprecations
from gramwatt.engine.evaluate import Outcome
from gramwatt.engine.uncertainty import MIN_EXPLAINED
from gramwatt.engine.unusual_inputs import UNUSUAL, describe_unusual_inputs
from gramwatt.model import AnyCalculator, Kind, Rule, get_label
from gramwatt.model.calculator import NoticeKind, Severity
from gramwatt.model.messages import format_share, join_with_and, lower_first

POSSIBLY: Final = "possibly-"
"""Before the code of a rule that holds in some of the likely cases only."""
NO_RESULT: Final = "no-result"
"""Where no rule explains why there is no result; after `POSSIBLY`, why some of the likely cases have none."""
NEEDS_INPUT: Final = "needs-input"
NOT_USED: Final = "not-used"
POSSIBLY_RANK: Final[tuple[NoticeKind, Severity]] = ("finding", "medium")
"""Kind and severity of what holds in some of the likely cases only."""

UNUSUAL_RANK: Final[tuple[NoticeKind, Severity]] = ("finding", "high")
DEPRECATED: Final = "deprecated"
DEPRECATED_RANK: Final[tuple[NoticeKind, Severity]] = ("finding", "low")


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


def get_rank(kind: NoticeKind, severity: Severity) -> int:
    """Return the place of a caution in a response: findings, then missing inputs, then what is always true."""
    return 3 * ("finding", "missing", "standing").index(kind) + ("high", "medium", "low").index(severity)


@functools.cache
def get_constant_cautions(calculator: AnyCalculator) -> Mapping[str, Mapping[str, str]]:
    """Return the cautions whose text names no value, by code."""
    return {
        caution.code: _make_caution(caution.code, caution.kind, caution.severity, caution.text)
        for caution in calculator.cautions
        if "{" not in caution.text
    }


def _make_caution(code: str, kind: NoticeKind, severity: Severity, text: str, **more: Any) -> dict[str, Any]:
    return {"code": code, "kind": kind, "severity": severity, "text": text, **more}


def build_cautions(
    outcome: Outcome, row: int, results: Mapping[str, Any], known: Collection[str]
) -> list[dict[str, Any]]:
    """Return the cautions of a row, each code once, in the order of `get_rank`.

    Those that explain missing results come first among their like, and name these in ``results``. ``known`` are the
    `find_known_inputs` of the row.
    """
    missing = list(_find_missing_results(results))
    constant = get_constant_cautions(outcome.calculator)
    reasons: list[dict[str, Any]] = []
    cautions: list[dict[str, Any]] = []
    for notice in outcome.notices:
        source, holds = notice.source, notice.rows[row]
        if isinstance(source, Rule):
            entries, explained = _find_explained(source, holds, missing)
            if explained:
                missing = [name for name in missing if name not in explained]
                text = fill_text(source.text, outcome, row, entries)
                reasons.append(_make_caution(source.code, source.kind, source.severity, text, results=explained))
        elif holds.any():
            if source.code in constant:
                cautions.append(dict(constant[source.code]))
                continue
            text = fill_text(source.text, outcome, row, np.flatnonzero(holds).tolist() if holds.ndim else [None])
            cautions.append(_make_caution(source.code, source.kind, source.severity, text))
    listed = [
        *reasons,
        *_explain_missing_results(outcome.calculator, missing, known),
        *_list_doubtful_results(outcome, row, results),
        *_list_unusual_inputs(outcome, row),
        *_list_replaced_inputs(outcome, row),
        *_list_deprecations(outcome, row),
        *cautions,
    ]
    return sorted(listed, key=lambda caution: get_rank(caution["kind"], caution["severity"]))


def _find_explained(
    rule: Rule[Any, Any], holds: NDArray[np.bool_], missing: Collection[str]
) -> tuple[list[int | None], list[str]]:
    """Return the entries of a table for which a rule explains missing results (None: no table), and these results."""
    entries: list[int | None] = []
    explained: list[str] = []
    for at in np.flatnonzero(holds).tolist() if holds.ndim else [None] * bool(holds):
        names = [name for name in _name_results(rule.results, at) if name in missing]
        if names:
            entries.append(at)
            explained += names
    return entries, explained


def _name_results(names: Iterable[str], at: int | None) -> list[str]:
    """Return the names of results, or pointers to those in entry ``at`` of a table: ``/packs/2/endurance``."""
    return [name if at is None or "." not in name else f"/{name.replace('.', f'/{at}/')}" for name in names]


def _list_doubtful_results(outcome: Outcome, row: int, results: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """Yield a caution for results that some of the likely cases do not have, by the rule that explains them."""
    if outcome.uncertainty is None or not outcome.uncertainty.no_result:
        return
    doubtful = _find_doubtful_results(outcome.uncertainty.no_result, row, results)
    for rule in outcome.calculator.rules:
        shares = outcome.uncertainty.rules[rule.code][row]
        likely = shares > MIN_EXPLAINED
        entries: list[int | None] = []
        found: list[float] = []
        names: list[str] = []
        for at in np.flatnonzero(likely).tolist() if shares.ndim else [None] * int(likely):
            explained = [name for name in _name_results(rule.results, at) if name in doubtful]
            if explained:
                entries.append(at)
                found.append(max(doubtful.pop(name) for name in explained))
                names += explained
        if entries:
            happens = fill_text(rule.partly, outcome, row, entries) or _describe_no_value(outcome.calculator, names)
            text = f"In {join_entries([format_share(share) for share in found])} of the likely cases {happens}."
            yield _make_caution(POSSIBLY + rule.code, *POSSIBLY_RANK, text)
    if doubtful:
        happens = _describe_no_value(outcome.calculator, doubtful)
        text = f"In {format_share(max(doubtful.values()))} of the likely cases {happens}."
        yield _make_caution(POSSIBLY + NO_RESULT, *POSSIBLY_RANK, text)


def _describe_no_value(calculator: AnyCalculator, names: Iterable[str]) -> str:
    labels = _list_labels(calculator, names)
    return f"{lower_first(join_with_and(labels))} {'has' if len(labels) == 1 else 'have'} no value"


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
                f"/{table}/{at}/{column}": each
                for at, (inner, each) in enumerate(entries)
                if inner.get(column) is not None
            }
        elif results[name] is not None:
            doubtful[name] = float(share[row].max())
    return {name: share for name, share in doubtful.items() if share > MIN_EXPLAINED}


def _find_missing_results(results: Mapping[str, Any]) -> Iterator[str]:
    """Yield the names of results without a value; in a table a pointer, ``/packs/2/endurance``."""
    for name, value in results.items():
        if value is None:
            yield name
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            for at, inner in enumerate(value):
                if None in inner.values():
                    yield from (f"/{name}/{at}/{column}" for column, cell in inner.items() if cell is None)


def _list_labels(calculator: AnyCalculator, names: Iterable[str]) -> list[str]:
    """Return the labels of results, each once; the first has a capital. All entries of a table have the same."""
    labels = dict.fromkeys(get_label(name.rpartition("/")[2], _get_result_kind(calculator, name)) for name in names)
    return [label if at == 0 else lower_first(label) for at, label in enumerate(labels)]


def _get_result_kind(calculator: AnyCalculator, name: str) -> Kind:
    """Return the kind of a result, or that of the column of a cell, which a pointer names."""
    kind: Kind = calculator.result_fields[name.removeprefix("/").partition("/")[0]]
    return kind.columns[name.rpartition("/")[2]] if kind.columns else kind


def _explain_missing_results(
    calculator: AnyCalculator, missing: Iterable[str], known: Collection[str]
) -> Iterator[dict[str, Any]]:
    """Yield the reasons for missing results that no rule explains."""
    by_need: dict[tuple[str, ...], list[str]] = {}
    for name in missing:
        needs = _get_result_kind(calculator, name).needs
        by_need.setdefault(tuple(need for need in needs if need not in known), []).append(name)
    unexplained = by_need.pop((), [])
    if by_need:
        texts = []
        for needs, names in by_need.items():
            labels = _list_labels(calculator, names)
            needed = [lower_first(get_label(need, calculator.input_fields[need])) for need in needs]
            verb = "requires" if len(labels) == 1 else "require"
            texts.append(f"{join_with_and(labels)} {verb} {join_with_and(needed)}.")
        results = [name for names in by_need.values() for name in names]
        yield _make_caution(NEEDS_INPUT, "missing", "low", " ".join(texts), results=results)
    if unexplained:
        labels = _list_labels(calculator, unexplained)
        text = f"{join_with_and(labels)} {'has' if len(labels) == 1 else 'have'} no finite value for these inputs."
        yield _make_caution(NO_RESULT, "finding", "high", text, results=unexplained)


def _list_unusual_inputs(outcome: Outcome, row: int) -> Iterator[dict[str, Any]]:
    """Yield a caution for inputs that are hardly meant."""
    text = " ".join(describe_unusual_inputs(outcome, row))
    if text:
        yield _make_caution(UNUSUAL, *UNUSUAL_RANK, text)


def _list_deprecations(outcome: Outcome, row: int) -> Iterator[dict[str, Any]]:
    """Yield a caution for what is deprecated of the calculator, of its results and of the inputs that are given."""
    calculator = outcome.calculator
    if has_deprecations(calculator):
        given = [name for name, present in outcome.present.items() if present[row]]
        text = describe_deprecations(find_deprecations(calculator, given, calculator.result_fields))
        if text:
            yield _make_caution(DEPRECATED, *DEPRECATED_RANK, text)


def _list_replaced_inputs(outcome: Outcome, row: int) -> Iterator[dict[str, Any]]:
    """Yield a caution for inputs that are given but not used, since others replace them."""
    fields = outcome.calculator.input_fields
    no_rows = all_false(outcome.rows)
    texts: list[str] = []
    for name, others in get_replacements(outcome.calculator).by:
        marks = [(other, outcome.unused[other]) for other in others]
        replaced = [get_label(other, fields[other]) for other, mark in marks if mark is not no_rows and mark[row]]
        if replaced and outcome.present[name][row]:
            first, *more = replaced
            were = "were" if more else "was"
            listed = join_with_and([first, *map(lower_first, more)])
            texts.append(f"{listed} {were} not used: {lower_first(get_label(name, fields[name]))} was given instead.")
    if texts:
        yield _make_caution(NOT_USED, "finding", "medium", " ".join(texts))
