"""The patterns of texts with units: whatever one matches is read, and the bounds are where the declaration has them."""

import re
from collections.abc import Iterator
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gramwatt.engine import registry
from gramwatt.engine.columns import uncertainty_kind
from gramwatt.engine.nested import read_column
from gramwatt.model import Kind, NumberList, Quantity, StandardUncertainty, Table, get_fields, units
from gramwatt.web.openapi.number_pattern import make_text_pattern

MADE_UP = [
    Quantity("1", "Both bounds between the same whole numbers.", above=0.05, at_most=0.5),
    Quantity("1", "Fractional bounds.", at_least=0.5, below=2.25),
    Quantity("V", "Whole bounds that begin above zero.", at_least=3, at_most=120),
    Quantity("degC", "Below zero altogether.", at_least=-60, below=-0.25),
    Quantity("m", "Across zero, fractional.", above=-430.5, at_most=9000.75),
    Quantity("%", "A single number but its fractions.", above=99, below=100),
    Quantity("Pa", "A wide range.", at_least=0.001, at_most=1e9),
    Quantity("g", "Open at a great bound.", above=0, below=1e7),
]


def inputs() -> Iterator[tuple[str, Quantity]]:
    """Every quantity that any calculator asks for, in lists and tables too."""
    for calculator in registry.load().values():
        for name, kind in calculator.input_fields.items():
            if isinstance(kind, Quantity) and kind.exact and kind.unit == "1":
                continue  # never a text: there is no unit and no uncertainty to show
            yield from ((f"{calculator.name}.{name}{more}", quantity) for more, quantity in quantities(kind))


def quantities(kind: Kind) -> Iterator[tuple[str, Quantity]]:
    """Yield the quantities in one kind of input."""
    if isinstance(kind, Quantity):
        yield "", kind
    elif isinstance(kind, NumberList):
        yield "", kind.item
    elif isinstance(kind, Table):
        for name, inner in get_fields(kind.row).items():
            if isinstance(inner, Quantity) and not isinstance(inner, StandardUncertainty):
                yield f".{name}", inner
                yield f".{name}_u", uncertainty_kind(name, inner)


def distinct() -> Iterator[tuple[str, Quantity]]:
    """One quantity for each unit and range: others like it have the same pattern and are read alike."""
    seen = set()
    for name, kind in [*inputs(), *((kind.description, kind) for kind in MADE_UP)]:
        key = (make_text_pattern(kind), kind.unit, kind.exact, kind.at_least, kind.above, kind.at_most, kind.below)
        if key not in seen:
            seen.add(key)
            yield name, kind


KINDS = [pytest.param(kind, id=name) for name, kind in distinct()]


def errors(kind: Quantity, text: str, *, as_query: bool) -> list[str]:
    """Return what the service finds wrong with a text."""
    return [error.detail for error in read_column(kind, [text], text=as_query).errors.get(0, [])]


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=60)
@given(data=st.data())
def test_every_text_of_the_pattern_is_accepted(kind: Quantity, data: st.DataObject) -> None:
    """In a query as in JSON: the contract promises a result to every text that it describes."""
    text = data.draw(st.from_regex(make_text_pattern(kind), fullmatch=True))
    assert not errors(kind, text, as_query=True)
    assert not errors(kind, text, as_query=False)


@pytest.mark.parametrize("kind", KINDS)
def test_bounds_are_those_of_the_declaration(kind: Quantity) -> None:
    """In the declared unit, exactly: a closed bound belongs to the pattern, an open one and all beyond do not."""
    pattern = re.compile(make_text_pattern(kind))
    unit = "±0" if kind.unit == "1" else f" {kind.unit}"
    checked = 0
    for bound, belongs, inward in (
        (kind.at_least, True, 1),
        (kind.above, False, 1),
        (kind.at_most, True, -1),
        (kind.below, False, -1),
    ):
        if bound is None:
            continue
        exact = Decimal(repr(float(bound)))
        step = inward * max(Decimal("1e-4"), abs(exact) * Decimal("1e-9"))
        for number, is_in in ((exact, belongs), (exact + step, True), (exact - step, False)):
            text = f"{number.normalize():f}{unit}"
            assert bool(pattern.fullmatch(text)) == is_in, text
            assert (not errors(kind, text, as_query=False)) == is_in, text
            checked += 1
    assert checked == 6


@pytest.mark.parametrize("kind", KINDS)
def test_every_unit_of_the_table_is_in_the_pattern(kind: Quantity) -> None:
    """A number from the middle of a range, in each unit in which that is 1 or more."""
    low, high = kind.at_least if kind.above is None else kind.above, kind.at_most if kind.below is None else kind.below
    assert low is not None
    assert high is not None
    middle = units.get_unit(kind.unit).to_si((low + high) / 2)
    spread = "±0" if kind.unit == "1" else ""
    for spelling, unit in units.compatible_units(kind.unit).items():
        number = (middle - unit.offset) / unit.scale
        text = f"{number:.1f}{spread}" + ("" if kind.unit == "1" else f" {spelling}")
        if number >= 1 and high > 2 * low:
            assert re.fullmatch(make_text_pattern(kind), text), text


@pytest.mark.parametrize("kind", KINDS)
def test_patterns_mean_the_same_in_every_dialect(kind: Quantity) -> None:
    r"""``\d`` is any script's digit in Python and ten digits in ECMA 262; neither it nor ``\w`` or ``\s`` is used."""
    assert not re.search(r"\\[dDwWsSbBAZz]", make_text_pattern(kind))
    assert make_text_pattern(kind).startswith("^")
    assert make_text_pattern(kind).endswith("$")


@pytest.mark.parametrize(
    "text", ["4,5 V", "4.5", "4.5 v", "４.５ V", "4.5 V ", "4.5  V", "1e0 V", "-1 V", "4.5 V\n", "V"]
)
def test_other_texts_are_not_promised(text: str) -> None:
    """A decimal comma, no unit, another script's digits, blanks about it."""
    kind = Quantity("V", "A voltage.", above=0, at_most=4.5)
    assert not re.fullmatch(make_text_pattern(kind), text)
