"""What people send: the first example of every calculator and the README's example, each request a new one."""

from __future__ import annotations

import copy
import dataclasses
import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

from benchmarks.http_messages import JSON, fits_query, get_request, post_request, query_of
from benchmarks.pack_inputs import PATH

Place: TypeAlias = tuple[str | int, ...]

README_INPUTS: Final = {"cells": 6, "capacity": 1300, "pack_power": 500}
README_NAME: Final = "README's question"
STEP: Final = 1e-7
TRIED: Final = (STEP, 1e-3, 1e-2)
_MARK: Final = "@varied@"
_AMOUNT: Final = re.compile(r"([-+]?\d+(?:\.\d+)?)( \D.*)?")


class NothingVaries(Exception):
    """No number of an example may be moved by a hundredth without another kind of response."""


@dataclass(frozen=True, slots=True)
class Example:
    """Inputs of a calculator in which one number, at ``place``, differs from request to request."""

    name: str
    calculator: str
    inputs: Mapping[str, Any]
    place: Place

    @property
    def path(self) -> str:
        """The path of the calculator."""
        return f"/v1/{self.calculator}"

    def requests(self, start: int, count: int) -> list[bytes]:
        """Return requests number ``start`` and following: GET where the inputs fit a query, else POST."""
        if fits_query(self.inputs):
            return self.gets(self.path, start, count)
        before, after = self._around(json.dumps(self._marked()), quoted=True)
        return [post_request(self.path, f"{before}{number}{after}") for number in self._numbers(start, count)]

    def gets(self, path: str, start: int, count: int, *, accept: str = JSON, more: str = "") -> list[bytes]:
        """Return GET requests of a path of the calculator, the inputs and ``more`` in the query."""
        before, after = self._around(query_of(self._marked()).replace("%40varied%40", _MARK), quoted=False)
        return [get_request(path, f"{before}{n}{after}{more}", accept) for n in self._numbers(start, count)]

    def _numbers(self, start: int, count: int) -> Iterator[str]:
        value = float(_AMOUNT.fullmatch(str(_at(self.inputs, self.place)))[1])  # type: ignore[index]
        return (repr(round(value * (1 + STEP * at), 12)) for at in range(start + 1, start + count + 1))

    def _marked(self) -> dict[str, Any]:
        unit = _AMOUNT.fullmatch(str(_at(self.inputs, self.place)))[2] or ""  # type: ignore[index]
        return _with(self.inputs, self.place, _MARK + unit)

    def _around(self, text: str, *, quoted: bool) -> tuple[str, str]:
        mark = f'"{_MARK}"' if quoted and f'"{_MARK}"' in text else _MARK
        before, _, after = text.partition(mark)
        return before, after


def of_calculators() -> Iterator[Example]:
    """Yield the first example of every calculator. Raises NothingVaries."""
    from gramwatt.engine import registry

    for name, calculator in registry.load().items():
        yield vary(name, name, dict(calculator.examples[0].given))


def of_readme() -> Example:
    """Return the example with which the README begins: three inputs, the others assumed, with a range."""
    return Example(README_NAME, PATH.rpartition("/")[2], README_INPUTS, ("pack_power",))


def vary(name: str, calculator: str, inputs: dict[str, Any]) -> Example:
    """Find a number that may move a little: same cautions, same assumptions, no error. Raises NothingVaries."""
    usual = _kind_of_answer(calculator, inputs)
    for place in sorted(_numbers_in(inputs), key=len):
        amount, unit = _AMOUNT.fullmatch(str(_at(inputs, place))).groups("")  # type: ignore[union-attr]
        moved = [round(float(amount) * (1 + step), 12) for step in TRIED]
        if float(amount) and all(
            _kind_of_answer(calculator, _with(inputs, place, f"{value!r}{unit}" if unit else value)) == usual
            for value in moved
        ):
            return Example(name, calculator, inputs, place)
    raise NothingVaries(calculator)


def in_numbers(example: Example) -> Example:
    """Return the same inputs without units, as the calculator's own units have them, for programs that know none."""
    from gramwatt.engine import calculate

    found = calculate.compute_response(calculate.get_calculator(example.calculator), example.inputs)["given"]
    inputs = {name: _without_defaults(found[name], given) for name, given in example.inputs.items()}
    return dataclasses.replace(example, inputs=inputs)


def _without_defaults(found: Any, given: Any) -> Any:
    """Return the rows of a table without the columns that were assumed; other values as they are."""
    if not (isinstance(given, list) and given and isinstance(given[0], dict)):
        return found
    return [{name: row[name] for name in sent} for row, sent in zip(found, given, strict=True)]


def _kind_of_answer(calculator: str, inputs: Mapping[str, Any]) -> object:
    from gramwatt.engine import calculate

    try:
        found = calculate.compute_response(calculate.get_calculator(calculator), inputs)
    except calculate.InvalidInput:
        return None
    return [caution["code"] for caution in found["cautions"]], list(found["assumed"])


def _numbers_in(value: Any, place: Place = ()) -> Iterator[Place]:
    if isinstance(value, Mapping):
        for name, inner in value.items():
            yield from _numbers_in(inner, (*place, name))
    elif isinstance(value, list | tuple):
        for at, inner in enumerate(value):
            yield from _numbers_in(inner, (*place, at))
    elif not isinstance(value, bool) and _AMOUNT.fullmatch(str(value)):
        yield place


def _at(value: Any, place: Place) -> Any:
    for key in place:
        value = value[key]
    return value


def _with(inputs: Mapping[str, Any], place: Place, value: Any) -> dict[str, Any]:
    changed = copy.deepcopy(dict(inputs))
    holder: Any = changed
    for key in place[:-1]:
        holder = holder[key]
    holder[place[-1]] = value
    return changed
