"""Cases for every rule and conditional caution: each is shown and hidden, and each part of a condition decides once.

A condition such as ``(a > 1) & (b | c)`` is tested part by part: with any operand of ``&`` or ``|`` left out, some case
of ``golden/cautions.json`` shows other cautions. ``python -m caution_cases`` (with ``PYTHONPATH=service:tests``)
searches for what is lacking, from the cases and examples that there are, and adds it to that file; look at the diff.
"""

from __future__ import annotations

import ast
import contextlib
import copy
import functools
import inspect
import itertools
import json
import math
import random
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np

from gramwatt.engine import registry
from gramwatt.engine.evaluate import Outcome, evaluate_columns
from gramwatt.engine.response import build_response
from gramwatt.model import (
    Calculator,
    Caution,
    Choice,
    Count,
    Flag,
    Kind,
    NumberList,
    Quantity,
    RowName,
    StandardUncertainty,
    Table,
    Text,
    TimeSeries,
    get_fields,
)

GOLDEN: Final = Path(__file__).parent / "golden" / "cautions.json"
Any_ = Calculator[Any, Any]
Given = dict[str, Any]
Condition = Callable[[Any, Any], Any]


def cases(calculator: Any_) -> list[Given]:
    """Return the cases of a calculator: ``given`` and the ``codes`` of the cautions that it must show."""
    known = json.loads(GOLDEN.read_text(encoding="utf-8")) if GOLDEN.exists() else {}
    return [dict(each) for each in known.get(calculator.name, ())]


def conditional(calculator: Any_) -> list[Caution[Any, Any]]:
    """Return the cautions that are not always shown."""
    return [caution for caution in calculator.cautions if not caution.is_always_shown]


def outcome(calculator: Any_, given: Given) -> Outcome:
    """Compute one set of inputs."""
    return evaluate_columns(calculator, {name: [value] for name, value in given.items()}, 1, text=False)


def codes(made: Outcome) -> list[str]:
    """Return the codes of the cautions shown, in order, each once, without those that always are."""
    standing = {caution.code for caution in made.calculator.cautions if caution.is_always_shown}
    shown = dict.fromkeys(each["code"] for each in build_response(made, 0)["cautions"])
    return [code for code in shown if code not in standing]


def shows(caution: Caution[Any, Any], condition: Condition | None, made: Outcome) -> list[bool]:
    """Return where a caution is shown under a condition, by entry of a table where it speaks of entries."""
    with np.errstate(all="ignore"):
        holds = np.asarray(True if condition is None else condition(made.inputs, made.results))
    if caution.assumed:
        holds = holds & made.assumed.get(caution.assumed, False)  # a column of a table may be unknown
    return [bool(each) for each in np.atleast_1d(holds).ravel()]


def incomplete(caution: Caution[Any, Any]) -> Iterator[tuple[str, Condition]]:
    """Yield the caution's condition with one operand of ``&`` or ``|`` left out, for each, and the operand's text."""
    if caution.when is None:
        return
    node, scope = _parsed(caution.when)
    for operand, without in _left_out(node):
        yield f"{caution.code}: {operand}", _compiled(without, scope)
    for name in {
        each.func.id for each in ast.walk(node) if isinstance(each, ast.Call) and isinstance(each.func, ast.Name)
    }:
        helper = scope.get(name)
        if inspect.isfunction(helper) and helper.__module__ == caution.when.__module__:
            inner, inner_scope = _parsed(helper)
            for operand, without in _left_out(inner):
                yield f"{name}: {operand}", _compiled(node, {**scope, name: _compiled(without, inner_scope)})


def _left_out(node: ast.AST) -> Iterator[tuple[str, Any]]:
    places = [
        each for each in ast.walk(node) if isinstance(each, ast.BinOp) and isinstance(each.op, ast.BitAnd | ast.BitOr)
    ]
    for at, place in enumerate(places):
        for dropped, left in ((place.left, False), (place.right, True)):
            made = copy.deepcopy(node)
            twin = [e for e in ast.walk(made) if isinstance(e, ast.BinOp) and isinstance(e.op, ast.BitAnd | ast.BitOr)][
                at
            ]
            rest = twin.left if left else twin.right
            yield ast.unparse(dropped), _Replace(twin, rest).visit(made)


class _Replace(ast.NodeTransformer):
    def __init__(self, old: ast.AST, new: ast.AST) -> None:
        self.old, self.new = old, new

    def visit(self, node: ast.AST) -> Any:
        return self.new if node is self.old else self.generic_visit(node)


@functools.cache
def _tree(file: str) -> ast.Module:
    return ast.parse(Path(file).read_text(encoding="utf-8"))


def _parsed(function: Callable[..., Any]) -> tuple[ast.AST, dict[str, Any]]:
    """Return the syntax of a function or lambda, and the names that it sees."""
    code = function.__code__
    columns = [(each[0], each[2]) for each in code.co_positions() if each[0] is not None and each[2] is not None]
    found = [
        node
        for node in ast.walk(_tree(code.co_filename))
        if isinstance(node, ast.Lambda | ast.FunctionDef) and node.lineno == code.co_firstlineno
    ]
    if len(found) > 1:
        inside = max(columns)
        found = [
            each for each in found if (each.lineno, each.col_offset) <= inside <= (each.end_lineno, each.end_col_offset)
        ]
    return found[-1], function.__globals__


def _compiled(node: Any, scope: Mapping[str, Any]) -> Condition:
    names = dict(scope)
    if isinstance(node, ast.Lambda):
        return eval(compile(ast.fix_missing_locations(ast.Expression(node)), "<condition>", "eval"), names)  # type: ignore[no-any-return]
    exec(compile(ast.fix_missing_locations(ast.Module([node], [])), "<condition>", "exec"), names)
    return names[node.name]  # type: ignore[no-any-return]


Needs = dict[str, Callable[[Outcome], bool]]


def needs(calculator: Any_) -> Needs:
    """Return what some case must do, by a name that says it."""
    found: Needs = {}
    parts: dict[str, list[tuple[Caution[Any, Any], Condition]]] = {}
    for caution in conditional(calculator):
        found[f"{caution.code} is shown"] = functools.partial(_shown, caution, True)
        found[f"{caution.code} is not shown"] = functools.partial(_shown, caution, False)
        for operand, condition in incomplete(caution):
            parts.setdefault(operand, []).append((caution, condition))
    for operand, without in parts.items():
        found[f"{operand} decides"] = functools.partial(_decides, without)
    for rule in calculator.rules:
        found[f"{rule.code} is the reason for a missing result"] = functools.partial(_is_reason, rule.code)
    return found


def _shown(caution: Caution[Any, Any], wanted: bool, made: Outcome) -> bool:
    return any(shows(caution, caution.when, made)) is wanted


def _decides(without: list[tuple[Caution[Any, Any], Condition]], made: Outcome) -> bool:
    for caution, condition in without:
        with contextlib.suppress(IndexError, ValueError):  # without its guard a condition may not fit these inputs
            if shows(caution, caution.when, made) != shows(caution, condition, made):
                return True
    return False


def _is_reason(code: str, made: Outcome) -> bool:
    return code in codes(made)


# Searching for cases


def search(calculator: Any_, seconds: float, seed: int = 1) -> tuple[list[Given], list[str]]:
    """Return as few cases as a greedy search finds in some seconds of computing, and what none of them does."""
    chance, end = random.Random(seed), time.process_time() + seconds
    open_ = needs(calculator)
    pool: list[Given] = []
    chosen: list[Given] = []
    seen: set[tuple[str, ...]] = set()
    starts = [*(each["given"] for each in cases(calculator)), *(dict(each.given) for each in calculator.examples)]
    for attempt in itertools.count():
        if not open_ or (attempt >= len(starts) and time.process_time() > end):
            break
        given = starts[attempt] if attempt < len(starts) else changed_inputs(calculator, chance.choice(pool), chance)
        try:
            made = outcome(calculator, given)
        except (ValueError, KeyError):
            continue
        if made.errors:
            continue
        done = [name for name, holds in open_.items() if holds(made)]
        shown = tuple(codes(made))
        if done or shown not in seen or attempt < len(starts):
            seen.add(shown)
            pool.append(given)
        if done:
            chosen.append({"given": given, "codes": list(shown)})
            for name in done:
                del open_[name]
    return chosen, list(open_)


def changed_inputs(calculator: Any_, given: Given, chance: random.Random) -> Given:
    """Return the inputs with some of them changed, added or left out."""
    made = copy.deepcopy(given)
    fields = dict(calculator.input_fields)
    for name in chance.sample(list(fields), k=min(len(fields), chance.choice((1, 1, 1, 2, 3)))):
        _change(made, name, fields[name], chance)
    return made


def _change(made: Given, name: str, kind: Kind, chance: random.Random, tables: Given | None = None) -> None:
    """Change an input, or a cell of a row among ``tables``."""
    if name in made and not kind.is_required and chance.random() < 0.3:
        del made[name]
        return
    match kind:
        case Table():
            rows = [dict(row) for row in made.get(name, ())]
            fields = {
                inner: each
                for inner, each in get_fields(kind.row).items()
                if not isinstance(each, StandardUncertainty | Text)
            }
            if not rows or (len(rows) < 4 and chance.random() < 0.2):
                rows.append(dict(chance.choice(rows)) if rows else {})
            row = chance.choice(rows)
            for inner in chance.sample(list(fields), k=min(len(fields), chance.choice((1, 1, 2)))):
                _change(row, inner, fields[inner], chance, made)
            for inner, each in fields.items():
                if each.is_required and inner not in row:
                    _change(row, inner, each, chance, made)
            made[name] = rows
        case TimeSeries():
            log = dict(made.get(name) or {"time": [0, 1, 2, 3], "voltage": [16, 15, 15, 16], "current": [1, 20, 20, 1]})
            channel = chance.choice(list(get_fields(kind.row)))
            values = log.get(channel)
            if values is None:
                log[channel] = [round(chance.uniform(0, 1), 3) for _ in log["time"]]
            elif chance.random() < 0.2 and channel != "time":
                del log[channel]
            else:
                factor = chance.choice((0.5, 2, 10, 0.1, 0, 100))
                log[channel] = [None if value is None else value * factor for value in values]
            made[name] = log
        case NumberList():
            made[name] = [_number(kind.item, None, chance) for _ in range(chance.randint(1, 3))]
        case RowName():
            names = [row["name"] for row in (tables or made).get(kind.of, ()) if "name" in row]
            if names:
                made[name] = chance.choice(names)
        case _:
            made[name] = _value(kind, made.get(name), chance)


def _value(kind: Kind, current: object, chance: random.Random) -> object:
    match kind:
        case Choice():
            return chance.choice(kind.options)
        case Flag():
            return chance.random() < 0.5
        case Count():
            return chance.choice((kind.at_least, min(kind.at_most, kind.at_least + chance.randint(0, 8))))
        case Text():
            return chance.choice(kind.like) if kind.like else "text"
        case Quantity():
            return _number(kind, current, chance)
        case _:
            return None


def _number(kind: Quantity, current: object, chance: random.Random) -> float:
    """Return a number within the bounds: near the present one, or anywhere, to three digits."""
    low = next(each for each in (kind.above, kind.at_least) if each is not None)
    high = next(each for each in (kind.below, kind.at_most) if each is not None)
    if kind.at_least is not None and chance.random() < 0.1:
        return kind.at_least
    start = current if isinstance(current, int | float) and current else kind.default
    if start and chance.random() < 0.6:
        found = start * math.exp(chance.gauss(0, 0.7))
    elif chance.random() < 0.5:
        found = low + (high - low) * chance.random() ** 3
    else:
        found = math.exp(chance.uniform(math.log(max(low, 1e-3)), math.log(max(high, 2e-3))))
    found = float(f"{min(max(found, low), high):.3g}")
    return found if low < found < high else (low + high) / 2


def main(only: Iterable[str]) -> int:
    """Write the cases of some calculators, or of all; return 1 where the search fell short."""
    known = json.loads(GOLDEN.read_text(encoding="utf-8")) if GOLDEN.exists() else {}
    lacking = []
    for name, calculator in registry.load().items():
        if not (conditional(calculator) or calculator.rules) or (only and name not in only):
            continue
        known[name], short = search(calculator, seconds=20)
        write(known)
        print(name, len(known[name]), "cases", *(f"\n  lacking: {each}" for each in short), flush=True)
        lacking += short
    return bool(lacking)


def write(known: Mapping[str, list[Given]]) -> None:
    """Write the file, a case a line."""
    parts = [
        f"{json.dumps(name)}: [\n" + ",\n".join(json.dumps(each, ensure_ascii=False) for each in known[name]) + "\n]"
        for name in sorted(known)
    ]
    GOLDEN.write_text("{\n" + ",\n".join(parts) + "\n}\n", encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
