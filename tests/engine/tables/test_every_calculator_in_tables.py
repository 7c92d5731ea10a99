"""A row of a table is answered as the same question alone: every calculator, every format, in and out."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.tables.table_helpers import FORMATS, Row, rows, single, told, written
from gramwatt.engine import registry
from gramwatt.model import Calculator, Choice, Count, Example, Flag, Kind, NumberList, Quantity, Table, TimeSeries

pytestmark = pytest.mark.usefixtures("either_csv_reader")

CALCULATORS = list(registry.load().values())
EXAMPLES = [(calculator, example) for calculator in CALCULATORS for example in calculator.examples]
Any_ = Calculator[Any, Any]
every_calculator = pytest.mark.parametrize("calculator", CALCULATORS, ids=lambda calculator: calculator.name)
every_example = pytest.mark.parametrize(
    ("calculator", "example"), EXAMPLES, ids=[f"{calculator.name}: {example.title}" for calculator, example in EXAMPLES]
)
EXPLAINED = {"needs-input", "no-answer", "not-used"}
"""Codes that explain a single answer and that tables leave to the empty cell."""


def holds_table(calculator: Any_, question: Mapping[str, object]) -> bool:
    """Whether a question holds what no cell of CSV can."""
    return any(isinstance(calculator.input_fields[name], Table | TimeSeries) for name in question)


class NoSuchColumn(Exception):
    """Arrow has no column for what a format of texts may hold."""


def sendable(questions: Sequence[Mapping[str, object]], sent: str) -> bytes:
    """Return the table, where the format has it: an Arrow column holds numbers or texts, and some examples mix them."""
    try:
        return written(questions, sent)
    except (pa.ArrowInvalid, pa.ArrowTypeError) as error:
        raise NoSuchColumn from error


def same_row(calculator: Any_, row: Row, question: Mapping[str, object], wanted: str) -> None:
    """Check that a row has the results and codes of the single response, or the pointers of its errors."""
    alone = single(calculator.name, question)
    if "error" in alone:
        assert row["error"], question
        for pointer in alone["error"][:5]:
            assert pointer[1:].replace("/", ".") in str(row["error"]) or pointer in str(row["error"])
        return
    assert not row.get("error"), (question, row["error"])
    for name, expected in alone["results"].items():
        value = row[name]
        if isinstance(calculator.result_fields[name], NumberList | Table) and isinstance(value, str):
            value = json.loads(value)
        if wanted == "arrow" and isinstance(expected, float | int):
            assert value == pytest.approx(expected, rel=1e-11), (name, question)
        else:
            assert value == expected, (name, question)
    codes = {caution["code"] for caution in alone["cautions"]} - EXPLAINED
    standing = {caution.code for caution in calculator.cautions if caution.is_always_shown}
    assert set(told(row)) - EXPLAINED == codes - standing, question


def fits(calculator: Any_, questions: Sequence[Mapping[str, object]], sent: str) -> bool:
    """Whether a format can hold these questions: a cell of CSV holds no table, an Arrow column not all texts."""
    if not questions or (sent in ("csv", "tsv") and any(holds_table(calculator, each) for each in questions)):
        return False
    try:
        sendable(questions, sent)
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
    question = {"id": "007", **example.given}
    table = sendable([question, question], sent)
    first, second = rows(calculator.name, table, sent, wanted)
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
    questions = together(calculator, sent)
    table = sendable(questions, sent)
    made = rows(calculator.name, table, sent)
    assert len(made) == len(questions)
    for row, question in zip(made, questions, strict=True):
        same_row(calculator, row, question, "json")


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


def questions_of(calculator: Any_) -> st.SearchStrategy[list[dict[str, object]]]:
    """Tables of questions: an example each, with some inputs changed, added, or left out."""

    @st.composite
    def question(draw: st.DrawFn) -> dict[str, object]:
        made = dict(draw(st.sampled_from(calculator.examples)).given)
        for name in draw(st.lists(st.sampled_from(list(calculator.input_fields)), max_size=4)):
            seen = [example.given[name] for example in calculator.examples if name in example.given]
            if seen or not isinstance(calculator.input_fields[name], Table | TimeSeries):
                made[name] = draw(cells_of(calculator.input_fields[name], seen))
        if draw(st.integers(0, 9)) == 0:
            made.pop(draw(st.sampled_from(list(made))))
        return made

    return st.lists(question(), min_size=1, max_size=5)


@every_calculator
def test_rows_of_any_kind(calculator: Any_) -> None:
    @settings(max_examples=25)
    @given(questions_of(calculator), st.data())
    def alike(questions: list[dict[str, object]], data: st.DataObject) -> None:
        wanted = data.draw(st.sampled_from(FORMATS))
        cellular = not any(holds_table(calculator, question) for question in questions)
        for sent in ("csv", "json", "ndjson") if cellular else ("json", "ndjson"):
            names = {name for question in questions for name in question}
            missing = any(name not in names for name in _required(calculator)) or not names
            if sent == "csv" and missing:
                continue  # a header that lacks an input is refused whole
            made = rows(calculator.name, written(questions, sent), sent, wanted)
            assert len(made) == len(questions)
            for row, question in zip(made, questions, strict=True):
                same_row(calculator, row, question, wanted)

    alike()


def _required(calculator: Any_) -> list[str]:
    return [pointer[1:] for pointer in single(calculator.name, {}).get("error", ())]


@every_example
def test_uncertainty_and_given_as_alone(calculator: Any_, example: Example) -> None:
    """With uncertainty=true and given=true a row tells what the single answer tells."""
    names = tuple(calculator.input_fields)
    (row,) = rows(calculator.name, written([example.given], "ndjson"), "ndjson", uncertain=True, shown_inputs=names)
    alone = single(calculator.name, example.given)
    assert alone["given"].keys() - calculator.result_fields.keys()
    for name, spread in alone.get("uncertainty", {}).items():
        if "." not in name and not isinstance(calculator.result_fields[name], NumberList):
            assert row[f"{name}_u"] == spread["standard"], name
    for name, value in alone["given"].items():
        if name not in calculator.result_fields:
            assert row[name] == value, name
