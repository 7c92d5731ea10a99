"""Asking one question: what the web, the command line and the library share."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from gramwatt.engine import registry
from gramwatt.engine.evaluate import Outcome, run
from gramwatt.engine.messages import Fault, echo, near, one_of
from gramwatt.engine.response import Answer, answer, choose_units
from gramwatt.model import Calculator


class Refused(ValueError):
    """A question that cannot be answered as asked; ``faults`` says everything that is wrong with it."""

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        super().__init__("\n".join(worded(fault) for fault in faults))
        self.faults = faults


class OverBudget(Refused):
    """A question that is valid but asks for more work than one request may."""


class UnknownCalculator(LookupError):
    """No calculator bears that name."""

    def __init__(self, name: str) -> None:
        known = registry.names()
        self.meant = near(name, known)
        hint = f"did you mean {one_of(self.meant)}?" if self.meant else f"there are {one_of(known)}"
        super().__init__(f"no calculator is named {name[:80]!r}; {hint}")


def worded(fault: Fault) -> str:
    """A fault as one line of text."""
    given = "" if fault.given is None else f" (given {fault.given!r})"
    return f"{fault.pointer[1:].replace('/', '.') or 'question'}: {fault.detail}{given}; accepted: {fault.accepted}"


def find(name: str) -> Calculator[Any, Any]:
    """The calculator of that name. Raises UnknownCalculator with near matches."""
    try:
        return registry.get(name)
    except KeyError:
        raise UnknownCalculator(name) from None


def ask(
    calculator: Calculator[Any, Any],
    question: Mapping[str, object],
    *,
    text: bool = False,
    result_units: Mapping[str, str] | None = None,
    working: bool = False,
) -> Answer:
    """Answer one question. ``text`` says that its values are words of a query rather than JSON values.

    Raises Refused with every fault found.
    """
    outcome = answered(calculator, question, text=text, result_units=result_units)
    return answer(outcome, 0, result_units=result_units, working=working)


def answered(
    calculator: Calculator[Any, Any],
    question: Mapping[str, object],
    *,
    text: bool = False,
    result_units: Mapping[str, str] | None = None,
) -> Outcome:
    """One question answered, in arrays, for `answer` or a form of the calculator's own to tell.

    Raises Refused with every fault found, those of wished units among them.
    """
    outcome = run(calculator, {name: [value] for name, value in question.items()}, 1, text=text)
    faults = list(outcome.faults.get(0, ()))
    if result_units:
        try:
            choose_units(calculator, result_units)
        except ValueError as error:
            wanted = ",".join(f"{result}:{spelling}" for result, spelling in result_units.items())
            faults.append(Fault("/units", str(error), echo(wanted), "result:unit pairs"))
    if faults:
        raise (OverBudget if outcome.over_budget else Refused)(tuple(faults))
    return outcome


def calculate(
    name: str, /, *, units: Mapping[str, str] | None = None, working: bool = False, **inputs: object
) -> Answer:
    """Ask a calculator by name: ``calculate("pack-energy", cells=6, capacity="1.3 Ah")``.

    Inputs are numbers in the calculator's own units, or texts with a unit and, if you like, ``± u``; ``units`` converts
    results by name; ``working`` adds formulas, numbers and references. The answer is the one the service gives as JSON.
    Raises UnknownCalculator or Refused.
    """
    return ask(find(name), inputs, result_units=units, working=working)
