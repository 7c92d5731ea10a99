"""Every regular expression of the package, and what it costs on text made to make it go back and try again.

Run as a program it measures them all and prints those whose cost is not linear; a pattern that does not come back
ends with the program, not with the tests.
"""

from __future__ import annotations

import ast
import functools
import importlib
import itertools
import re
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import gramwatt
from gramwatt.engine import registry
from gramwatt.model import Count, Text, get_fields

PACKAGE: Final = Path(gramwatt.__file__).parent
USES: Final = frozenset({"match", "fullmatch", "search", "sub", "subn", "split", "findall", "finditer"})

LOCAL_NAMES: Final[dict[str, object]] = {
    "names": ["full-throttle", "build"],
    "words": ["full-throttle", "build"],
    "separator": ";",
    "name": "parts",
    "decimal": ".",
    "quoted": rb'(?<![^,\n])"[^"]*(?:""[^"]*)*"(?=[,\r\n]|\Z)',
}
"""What stands for the local names of which patterns are made. A pattern of other names is not known here, and that
fails the test."""
OF_DECLARATIONS: Final = frozenset({"self.pattern", "self.labelled_pattern"})
"""Patterns of inputs that are texts, or counts with a suffix, which `all_uses` takes from the declarations."""
NO_USER_TEXT: Final = frozenset(
    {
        "charts/svg.py",
        "model/declaration_checks.py",
        "model/calculator.py",
        "engine/response.py",
        "engine/caution_texts.py",
    }
)
"""Modules whose patterns read what the package itself wrote: declarations, and the charts that it drew."""

PIECES: Final = (
    *' \t\n\r01.,aeéx[]{}"+-±/:=_%;\\',
    "1 ",
    " ,",
    "1,",
    '""',
    '",',
    "[]",
    "] ",
    "{}",
    "1.",
    ". ",
    "\r\n",
    "a ",
)
STARTS: Final = ("", "x", "1", "1 x", "1 ±", '"', "[", "{", "a [", "12:34:56", "1,1", 'W/"')
ENDS: Final = ("", "x", "1", "!", '"', "]", "\n")
SHORT, LONG = 500, 4000
FLOOR: Final = 0.002
"""Seconds of CPU below which the long text is not looked at further: some 500 ns for each of its letters."""
MAX_COST_RATIO: Final = 20
"""Times the cost for eight times the text."""


@dataclass(frozen=True, slots=True)
class Use:
    """A pattern, how it is applied, and where that stands."""

    pattern: re.Pattern[Any]
    method: str
    where: str


def all_uses() -> list[Use]:
    """Find every use of `re` in the package. Raises LookupError for a pattern that nobody here knows how to make."""
    found: list[Use] = []
    for path in sorted(PACKAGE.rglob("*.py")):
        where = path.relative_to(PACKAGE).as_posix()
        if where not in NO_USER_TEXT:
            found += _uses_in(path, where)
    patterns = {pattern for each in registry.load().values() for pattern in _declared_patterns(each.input_fields)}
    return found + [Use(re.compile(pattern), "fullmatch", "an input") for pattern in sorted(patterns)]


def _declared_patterns(kinds: Any) -> Iterator[str]:
    for kind in kinds.values():
        if isinstance(kind, Text) and kind.pattern:
            yield kind.pattern
        elif isinstance(kind, Count) and kind.accepts_labels:
            yield kind.labelled_pattern
        elif hasattr(kind, "row"):
            yield from _declared_patterns(get_fields(kind.row))


def _uses_in(path: Path, where: str) -> Iterator[Use]:
    tree = ast.parse(path.read_text())
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)]
    for call in calls:
        function = call.func
        assert isinstance(function, ast.Attribute)
        if isinstance(function.value, ast.Name) and function.value.id == "re":
            methods: tuple[str, ...] = (function.attr,) if function.attr in USES else ()
            if function.attr == "compile":
                methods = _methods(tree, call) or ("fullmatch", "match", "search")
            for pattern, method in itertools.product(_patterns(call.args[0], where) if methods else (), methods):
                yield Use(pattern, method, f"{where}:{call.lineno}")


def _methods(tree: ast.Module, made: ast.Call) -> tuple[str, ...]:
    """How the name that a compiled pattern is given is used in its module."""
    names = {
        target.attr if isinstance(target, ast.Attribute) else target.id
        for node in ast.walk(tree)
        if isinstance(node, ast.Assign | ast.AnnAssign) and node.value is made
        for target in (node.targets if isinstance(node, ast.Assign) else [node.target])
        if isinstance(target, ast.Name | ast.Attribute)
    }
    return tuple(
        {
            node.attr
            for node in ast.walk(tree)
            if isinstance(node, ast.Attribute) and node.attr in USES
            if (node.value.id if isinstance(node.value, ast.Name) else getattr(node.value, "attr", None)) in names
        }
    )


def _patterns(argument: ast.expr, where: str) -> list[re.Pattern[Any]]:
    source = ast.unparse(argument)
    if source in OF_DECLARATIONS:
        return []
    module = importlib.import_module(
        "gramwatt." + where.removesuffix(".py").replace("/", ".").removesuffix(".__init__")
    )
    try:
        value = eval(source, {**vars(module), **LOCAL_NAMES})
    except NameError as error:
        raise LookupError(f"{where}: say in LOCAL_NAMES what stands for the names in {source}") from error
    return [re.compile(value)]


def hostile_texts(length: int) -> Iterator[str]:
    """Texts of about that length: a start, a piece again and again, an end."""
    for start, piece, end in itertools.product(STARTS, PIECES, ENDS):
        yield start + piece * (length // len(piece)) + end


def apply(use: Use) -> Callable[[Any], object]:
    """Return the use of a pattern as a function of a text."""
    method = getattr(use.pattern, use.method)
    if use.method in ("sub", "subn"):
        return functools.partial(method, b"" if isinstance(use.pattern.pattern, bytes) else "")
    return (lambda text: list(method(text))) if use.method == "finditer" else method


def cost(apply_to: Callable[[Any], object], text: Any, rounds: int = 3) -> float:
    """Return the seconds of CPU that a pattern takes for a text, the minimum of some rounds."""
    times = []
    for _ in range(rounds):
        start = time.process_time()
        apply_to(text)
        times.append(time.process_time() - start)
    return min(times)


def cost_ratio(apply_to: Callable[[Any], object], short: Any, long: Any) -> float:
    """Return the cost of the long text over that of the short one. A busy machine needs many rounds to show it."""
    ratio = 0.0
    for rounds in (3, 25):
        ratio = cost(apply_to, long, rounds) / max(cost(apply_to, short, rounds), 1e-7)
        if ratio <= MAX_COST_RATIO:
            break
    return ratio


def slow_uses(uses: list[Use]) -> Iterator[tuple[Use, str, float]]:
    """Return uses whose cost grows faster than their text, with a text that shows it and the ratio of costs."""
    pairs = list(zip(hostile_texts(SHORT), hostile_texts(LONG), strict=True))
    for use in uses:
        applied, of_bytes = apply(use), isinstance(use.pattern.pattern, bytes)
        for short, long in pairs:
            texts: Any = (short.encode(), long.encode()) if of_bytes else (short, long)
            if cost(applied, texts[1], rounds=1) > FLOOR:
                ratio = cost_ratio(applied, *texts)
                if ratio > MAX_COST_RATIO:
                    yield use, repr(short[:20] + "..." + short[-5:]), ratio
                    break


if __name__ == "__main__":
    for use, text, ratio in slow_uses(all_uses()):
        print(f"{use.where} {use.pattern.pattern!r}.{use.method}({text}): {ratio:.0f} times the cost", flush=True)
