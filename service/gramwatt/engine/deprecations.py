"""What a request uses that is deprecated, with its dates."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import chain

from gramwatt.model import AnyCalculator, get_label
from gramwatt.model.deprecation import Deprecation
from gramwatt.model.messages import lower_first


def find_deprecations(
    calculator: AnyCalculator, inputs: Iterable[str], results: Iterable[str]
) -> Iterator[tuple[str, Deprecation]]:
    """Yield what is deprecated of a calculator, of some of its inputs and of some of its results, named in words."""
    if calculator.deprecated is not None:
        yield f"The calculator {calculator.name}", calculator.deprecated
    for what, names, fields in (
        ("input", inputs, calculator.input_fields),
        ("result", results, calculator.result_fields),
    ):
        for name in names:
            kind = fields.get(name)
            if kind is not None and kind.deprecated is not None:
                yield f"The {what} {lower_first(get_label(name, kind))}", kind.deprecated


def has_deprecations(calculator: AnyCalculator) -> bool:
    """Return whether anything of a calculator is deprecated."""
    kinds = chain(calculator.input_fields.values(), calculator.result_fields.values())
    return calculator.deprecated is not None or any(kind.deprecated is not None for kind in kinds)


def describe_deprecations(found: Iterable[tuple[str, Deprecation]]) -> str:
    """Return sentences about what is deprecated."""
    texts = []
    for what, deprecation in found:
        until = f" and will be removed on {deprecation.until.isoformat()}" if deprecation.until else ""
        texts.append(f"{what} has been deprecated since {deprecation.since.isoformat()}{until}. {deprecation.instead}")
    return " ".join(texts)
