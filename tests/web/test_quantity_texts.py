"""The patterns of texts with units: they match whatever the service reads, and what they match only bounds reject."""

import re
from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gramwatt.engine import registry
from gramwatt.engine.columns import uncertainty_kind
from gramwatt.engine.nested import read_column
from gramwatt.model import Kind, NumberList, Quantity, Table, units
from gramwatt.web.openapi.texts import get_text_name, make_text_schema

OUT_OF_BOUNDS = re.compile("Must be |Enter a finite number$|The standard uncertainty after ")
"""What no pattern can say: a number is beyond the bounds, which are in another unit."""


def quantities() -> Iterator[Quantity]:
    """Yield every quantity that any calculator takes, in lists and tables too."""
    for calculator in registry.load().values():
        kinds: list[Kind] = [*calculator.input_fields.values()]
        for kind in kinds:
            if isinstance(kind, Quantity):
                yield kind
            elif isinstance(kind, NumberList):
                yield kind.item
            elif isinstance(kind, Table):
                columns = {n: each for n, each in kind.input_columns.items() if isinstance(each, Quantity)}
                yield from columns.values()
                yield from (uncertainty_kind(name, column) for name, column in columns.items())


BY_NAME = {get_text_name(kind): kind for kind in quantities() if not (kind.exact and kind.unit == "1")}
KINDS = [pytest.param(kind, id=name) for name, kind in BY_NAME.items()]


def errors(kind: Quantity, text: str) -> list[str]:
    """Return what the service finds wrong with a text in JSON."""
    return [error.detail for error in read_column(kind, [text], text=False).errors.get(0, [])]


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=60)
@given(data=st.data())
def test_a_text_of_the_pattern_is_only_rejected_for_its_bounds(kind: Quantity, data: st.DataObject) -> None:
    schema = make_text_schema(kind)
    text = str(data.draw(st.from_regex(schema["pattern"], fullmatch=True)))[: schema["maxLength"]]
    if re.search(schema["pattern"], text):  # it was not cut
        assert all(OUT_OF_BOUNDS.match(detail) for detail in errors(kind, text)), text


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=60)
@given(data=st.data())
def test_a_text_that_is_read_has_the_pattern(kind: Quantity, data: st.DataObject) -> None:
    """Of texts made of the pieces that numbers, uncertainties and units have, in their order and in disorder."""
    blank = st.sampled_from(["", " ", "  ", "\u00a0", "\u2009", "\u202f", "\t"])
    number = st.sampled_from(["1", "0.5", "12.", ".5", "1e1", "2E-1", "+3", "-1", "\u22121", "1,5", "1_0", "１", "0x1"])
    sign = st.sampled_from(["±", "+/-", "+-", "/-", "-/+", "+/\u2212", "∓"])
    unit = st.sampled_from([*units.compatible_units(kind.unit), "kΩ", "\u2126", "m\u2126", "parsec", ""])
    pieces = [blank, number, blank, sign, blank, number, blank, unit, blank]
    chosen = data.draw(st.lists(st.booleans(), min_size=len(pieces), max_size=len(pieces)))
    text = "".join(data.draw(piece) for piece, used in zip(pieces, chosen, strict=True) if used)
    if not errors(kind, text):
        assert re.search(make_text_schema(kind)["pattern"], text), text


@pytest.mark.parametrize("kind", KINDS)
def test_every_unit_of_the_table_is_in_the_pattern(kind: Quantity) -> None:
    schema = make_text_schema(kind)
    assert set(schema["x-units"]) == set(units.compatible_units(kind.unit))
    if kind.unit != "1":
        for spelling in units.compatible_units(kind.unit):
            assert re.search(schema["pattern"], f"1.3e3 {spelling}"), spelling
            assert bool(re.search(schema["pattern"], f"1 ± 0.1 {spelling}")) != kind.exact, spelling


@pytest.mark.parametrize("kind", KINDS)
def test_patterns_mean_the_same_in_every_dialect(kind: Quantity) -> None:
    r"""``\d`` is any script's digit in Python and ten digits in ECMA 262; neither it nor ``\w`` or ``\s`` is used."""
    pattern = make_text_schema(kind)["pattern"]
    assert not re.search(r"\\[dDwWsSbBAZz]", pattern)
    assert pattern.startswith("^")
    assert pattern.endswith("$")


@pytest.mark.parametrize(
    "text", ["4,5 V", "4.5", "4.5 v", "４.５ V", "4.5\tV", "V", "4.5 V 1", "4.5 V\r", "1 A", "± 1 V"]
)
def test_other_texts_do_not_match(text: str) -> None:
    """A decimal comma, no unit, another script's digits, other blanks."""
    kind = Quantity("V", "A voltage.", above=0, at_most=4.5)
    assert not re.search(make_text_schema(kind)["pattern"], text)
    assert errors(kind, text)
