"""A row of a table has the results of the same request alone: every calculator, every format, in and out."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping, Sequence
from statistics import NormalDist
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.tables.table_helpers import FORMATS, Row, caution_codes, decode_rows, encode_rows, rows, single, table
from gramwatt.engine import registry
from gramwatt.engine.cautions import POSSIBLY
from gramwatt.engine.draws import DRAWS, FEW_DRAWS, make_quantiles
from gramwatt.engine.formats import OutputOptions, compute_output
from gramwatt.engine.tables.writers import Style
from gramwatt.model import Calculator, Choice, Count, Example, Flag, Kind, NumberList, Quantity, Table, TimeSeries

pytestmark = pytest.mark.usefixtures("either_csv_reader")

CALCULATORS = list(registry.load().values())
EXAMPLES = [(calculator, example) for calculator in CALCULATORS for example in calculator.examples]
Any_ = Calculator[Any, Any]
every_calculator = pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: calculator.name)
every_example = pytest.mark.parametrize(
    ("calculator", "example"), EXAMPLES, ids=[f"{calculator.name}: {example.title}" for calculator, example in EXAMPLES]
)
EXPLAINED = {"needs-input", "no-result", "not-used"}
"""Codes that explain a single response. In tables the empty cell is enough."""


def holds_table(calculator: Any_, request: Mapping[str, object]) -> bool:
    """Return whether a request has a value that no cell of CSV can hold."""
    return any(isinstance(calculator.input_fields[name], Table | TimeSeries) for name in request)


class NoSuchColumn(Exception):
    """Arrow has no column type for these values."""


def encode_if_possible(requests: Sequence[Mapping[str, object]], sent: str) -> bytes:
    """Encode requests if the format can hold them: an Arrow column holds numbers or texts, some examples mix them."""
    try:
        return encode_rows(requests, sent)
    except (pa.ArrowInvalid, pa.ArrowTypeError) as error:
        raise NoSuchColumn from error


def same_row(
    calculator: Any_, row: Row, request: Mapping[str, object], wanted: str, *, uncertain: bool = False
) -> None:
    """Check that a row has the results and codes of the single response, or the pointers of its errors."""
    alone = single(calculator.name, request)
    if "error" in alone:
        assert row["error"], request
        for pointer in alone["error"][:5]:
            assert pointer[1:].replace("/", ".") in str(row["error"]) or pointer in str(row["error"])
        return
    assert not row.get("error"), (request, row["error"])
    for name, expected in alone["results"].items():
        value = row[name]
        if isinstance(calculator.result_fields[name], NumberList | Table) and isinstance(value, str):
            value = json.loads(value)
        if wanted == "arrow" and isinstance(expected, float | int):
            assert value == pytest.approx(expected, rel=1e-11), (name, request)
        else:
            assert value == expected, (name, request)
    codes = {caution["code"] for caution in alone["cautions"] if uncertain or not caution["code"].startswith(POSSIBLY)}
    standing = {caution.code for caution in calculator.cautions if caution.is_always_shown}
    assert set(caution_codes(row)) - EXPLAINED == codes - standing - EXPLAINED, request


def fits(calculator: Any_, requests: Sequence[Mapping[str, object]], sent: str) -> bool:
    """Return whether a format can hold these requests: a cell of CSV holds no table, an Arrow column not all texts."""
    if not requests or (sent in ("csv", "tsv") and any(holds_table(calculator, each) for each in requests)):
        return False
    try:
        encode_if_possible(requests, sent)
    except NoSuchColumn:
        return False
    return True


SENDABLE = [
    pytest.param(calculator, example, sent, id=f"{calculator.name}: {example.title}-{sent}")
    for calculator, example in EXAMPLES
    for sent in FORMATS
    if fits(calculator, [example.given], sent)
]


@pytest.mark.parametrize(("calculator", "example", "sent"), SENDABLE)
@pytest.mark.parametrize("wanted", FORMATS)
def test_an_example_in_every_format(calculator: Any_, example: Example, sent: str, wanted: str) -> None:
    request = {"id": "007", **example.given}
    raw = encode_if_possible([request, request], sent)
    first, second = rows(calculator.name, raw, sent, wanted)
    assert first == second
    assert str(first.pop("id")) in ("007", "7.0"), "the reader of this test makes numbers of what look like ones"
    same_row(calculator, first, example.given, wanted)


def together(calculator: Any_, sent: str) -> list[Mapping[str, object]]:
    """All examples that a format can hold, three times."""
    cellular = sent in ("csv", "tsv")
    return [each.given for each in calculator.examples if not cellular or not holds_table(calculator, each.given)] * 3


TOGETHER = [
    pytest.param(calculator, sent, id=f"{calculator.name}-{sent}")
    for calculator in CALCULATORS
    for sent in FORMATS
    if fits(calculator, together(calculator, sent), sent)
]


@pytest.mark.parametrize(("calculator", "sent"), TOGETHER)
def test_all_examples_in_one_table(calculator: Any_, sent: str) -> None:
    """Rows that leave out different inputs, in their order."""
    requests = together(calculator, sent)
    raw = encode_if_possible(requests, sent)
    made = rows(calculator.name, raw, sent)
    assert len(made) == len(requests)
    for row, request in zip(made, requests, strict=True):
        same_row(calculator, row, request, "json")


def cells_of(kind: Kind, seen: list[object]) -> st.SearchStrategy[object]:
    """Values of an input, good ones mostly."""
    match kind:
        case Choice():
            return st.sampled_from([*kind.options, kind.options[0] + "x"])
        case Flag():
            return st.booleans()
        case Count():
            return st.integers(kind.at_least, min(kind.at_most + 1, kind.at_least + 12))
        case Quantity():
            low = kind.at_least if kind.above is None else kind.above
            high = kind.at_most if kind.below is None else kind.below
            assert low is not None
            assert high is not None
            near = [value for value in seen if isinstance(value, float | int)] or [low + (high - low) / 100]
            close = st.builds(lambda value, share: value * share, st.sampled_from(near), st.floats(0.5, 2))
            return st.one_of(close, st.floats(low, high), st.sampled_from([low, high, high * 1.5 + 1]))
        case NumberList():
            return st.lists(cells_of(kind.item, []), min_size=kind.min_length, max_size=min(kind.max_length, 4))
        case _:
            return st.sampled_from(seen)


def requests_of(calculator: Any_) -> st.SearchStrategy[list[dict[str, object]]]:
    """Generate tables of requests: each is an example with some inputs changed, added, or left out."""

    @st.composite
    def request(draw: st.DrawFn) -> dict[str, object]:
        made = dict(draw(st.sampled_from(calculator.examples)).given)
        for name in draw(st.lists(st.sampled_from(list(calculator.input_fields)), max_size=4)):
            seen = [example.given[name] for example in calculator.examples if name in example.given]
            if seen or not isinstance(calculator.input_fields[name], Table | TimeSeries):
                made[name] = draw(cells_of(calculator.input_fields[name], seen))
        if draw(st.integers(0, 9)) == 0:
            made.pop(draw(st.sampled_from(list(made))))
        return made

    return st.lists(request(), min_size=1, max_size=5)


@every_calculator
def test_rows_of_any_kind(calculator: Any_) -> None:
    @settings(max_examples=25)
    @given(requests_of(calculator), st.data())
    def alike(requests: list[dict[str, object]], data: st.DataObject) -> None:
        wanted = data.draw(st.sampled_from(FORMATS))
        cellular = not any(holds_table(calculator, request) for request in requests)
        for sent in ("csv", "json", "ndjson") if cellular else ("json", "ndjson"):
            names = {name for request in requests for name in request}
            missing = any(name not in names for name in _required(calculator)) or not names
            if sent == "csv" and missing:
                continue  # a header that lacks an input is an error of the whole table
            made = rows(calculator.name, encode_rows(requests, sent), sent, wanted)
            assert len(made) == len(requests)
            for row, request in zip(made, requests, strict=True):
                same_row(calculator, row, request, wanted)

    alike()


def _required(calculator: Any_) -> list[str]:
    return [pointer[1:] for pointer in single(calculator.name, {}).get("error", ())]


@every_example
def test_uncertainty_and_given_match_a_single_response(calculator: Any_, example: Example) -> None:
    """With uncertainty=true, given=true and as many draws, a row has the values of the single response."""
    names, raw = tuple(calculator.input_fields), encode_rows([example.given], "ndjson")
    (row,) = rows(calculator.name, raw, "ndjson", uncertain=True, shown_inputs=names, draws=DRAWS)
    alone = single(calculator.name, example.given)
    assert alone["inputs"].keys() - calculator.result_fields.keys()
    same_row(calculator, row, example.given, "json", uncertain=True)
    for name, spread in alone.get("uncertainty", {}).items():
        if "." not in name and not isinstance(calculator.result_fields[name], NumberList):
            for suffix, part in (("u", "standard"), ("low", "low"), ("high", "high")):
                assert row[f"{name}_{suffix}"] == spread[part], name
    for name, value in alone["inputs"].items():
        if name not in calculator.result_fields:
            assert row[name] == value, name


EXACT: Mapping[str, Mapping[str, object]] = {
    "pack-energy": {"cells": 6, "capacity": 1300},
    "mass-margin": {"masses": [100, 50], "mass_limit": 250, "scale_resolution": 0},
}
"""Inputs without any uncertain default, of a calculator that computes rows by columns and of one that does not."""


@pytest.mark.parametrize("name", list(EXACT))
def test_the_range_of_an_exact_result_is_its_value(name: str) -> None:
    """Whether rows are computed by columns or one by one."""
    calculator, exact = registry.load()[name], EXACT[name]
    (row,) = rows(name, encode_rows([exact], "ndjson"), "ndjson", uncertain=True)
    numbers = [each for each in calculator.result_fields if f"{each}_u" in row]
    for each in numbers:
        spread = None if row[each] is None else 0.0
        assert [row[f"{each}_{part}"] for part in ("u", "low", "high")] == [spread, row[each], row[each]], each
    assert any(row[each] is not None for each in numbers)


def test_no_range_beside_what_is_itself_an_uncertainty() -> None:
    """A declaration says so (`exact`); nor beside words and lists."""
    given = {"masses": ["100 ± 1", 50], "mass_limit": 250}
    (row,) = rows("mass-margin", encode_rows([given], "ndjson"), "ndjson", uncertain=True)
    with_range = {each.removesuffix("_low") for each in row if each.endswith("_low")}
    assert with_range == {"mass_margin", "total_mass", "kinetic_energy"}
    assert row["total_mass_low"] < row["total_mass"] < row["total_mass_high"]


def test_rows_near_the_limit_of_a_pack_say_how_likely_it_is_beyond() -> None:
    """The same codes as the single response, those of results that some of the likely cases do not have included."""
    calculator = registry.load()["pack-current"]
    requests = [{"cells": 4, "capacity": 650, "pack_power": power} for power in (100, 400, 600, 5000)]
    made = rows(calculator.name, encode_rows(requests, "csv"), uncertain=True, draws=DRAWS)
    for row, request in zip(made, requests, strict=True):
        same_row(calculator, row, request, "json", uncertain=True)
    doubtful = [[code for code in row["cautions"] if code.startswith(POSSIBLY)] for row in made]
    assert [len(codes) for codes in doubtful] == [0, 1, 1, 0]


@pytest.mark.parametrize("wanted", FORMATS)
def test_the_range_of_a_row_is_that_of_a_few_draws(wanted: str) -> None:
    """By definition: standard deviation, 2.5th and 97.5th percentile of so many values, computed here."""
    request = {"cells": 6, "capacity": 1300, "pack_power": 1300, "cell_resistance": "10 ± 1.5 mohm"}
    (row,) = rows("pack-current", encode_rows([request], "json"), "json", wanted, uncertain=True)
    _, normal = make_quantiles(FEW_DRAWS)
    currents = [
        single("pack-current", {**request, "cell_resistance": 10 + 1.5 * each})["results"]["pack_current"]
        for each in normal
    ]
    assert row["pack_current_u"] == pytest.approx(np.std(currents), rel=1e-9)
    for part, share in (("low", 2.5), ("high", 97.5)):
        expected = np.percentile(currents, share, method="hazen")
        assert row[f"pack_current_{part}"] == pytest.approx(expected, rel=1e-9)
    assert row["pack_current_high"] - row["pack_current"] > 1.1 * (row["pack_current"] - row["pack_current_low"]), (
        "not symmetric"
    )


@pytest.mark.parametrize(
    ("unit", "heading", "degrees"), [("degC", "K", 2.0), ("K", "K", 2.0), ("degF", "degF", 3.6)], ids=str
)
def test_ranges_of_a_temperature(unit: str, heading: str, degrees: float) -> None:
    """Its ends are temperatures, its standard uncertainty is a difference: 2 K are 3.6 degF (NIST SP 811, B.8)."""
    request = {"air_temperature": "20 ± 2 degC", "air_pressure": 1000}
    options: dict[str, Any] = {"uncertain": True, "result_units": {"air_temperature": unit}}
    raw = table("air-density", encode_rows([request], "csv"), wanted="csv", style=Style(header="units"), **options)
    (row,) = decode_rows(raw, "csv")
    assert row[f"air_temperature_u [{heading}]"] == pytest.approx(degrees, rel=1e-9)
    value, low, high = (row[f"air_temperature{part} [{unit}]"] for part in ("", "_low", "_high"))
    deviate = NormalDist().inv_cdf(0.975)
    assert (value - low) / degrees == pytest.approx(deviate, rel=0.02), "a few draws"
    assert (high - value) / degrees == pytest.approx(deviate, rel=0.02)
    output = OutputOptions("csv", {"air_temperature": unit})
    text = b"".join(compute_output(registry.load()["air-density"], request, output)).decode()
    alone = next(csv.DictReader(io.StringIO(text, newline="")))
    assert float(alone[f"air_temperature_u [{heading}]"]) == pytest.approx(degrees, rel=1e-9)
    assert float(alone[f"air_temperature_high [{unit}]"]) == pytest.approx(high, abs=0.03 * degrees)
