"""Responses written in chunks: long tables have the values of short ones; formats that a calculator adds."""

from __future__ import annotations

import csv
import io
import json
import tracemalloc
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any

import numpy as np
import pytest

from gramwatt.engine.calculate import InvalidInput, compute_response, evaluate_request
from gramwatt.engine.evaluate import evaluate_columns
from gramwatt.engine.formats import ROWS_PER_CHUNK, OutputOptions, compute_output, get_media_types, iter_output
from gramwatt.engine.serializers import TextStyle
from gramwatt.model import (
    Array,
    BarChart,
    Calculator,
    Caution,
    Choice,
    Count,
    Example,
    IndexArray,
    OutputFormat,
    Quantity,
    Reference,
    StringArray,
    Table,
    Text,
)


@dataclass(frozen=True, slots=True)
class Inputs:
    many: Annotated[Array, Count("Rows.", at_least=0, at_most=1_000_000)]
    size: Annotated[Array, Quantity("g", "Step.", above=0, at_most=10, default=1)]


@dataclass(frozen=True, slots=True)
class Row:
    mass: Annotated[Array, Quantity("g", "Mass.", method="row times size")]
    third: Annotated[Array, Quantity("1", "A third of the row.", method="row / 3")]
    sometimes: Annotated[Array, Quantity("V", "Of even rows only.", optional=True, method="row")]
    word: Annotated[StringArray, Text("A word.")]
    kind: Annotated[IndexArray, Choice(("even", "odd"), "Kind.", method="row modulo 2")]


@dataclass(frozen=True, slots=True)
class Results:
    last: Annotated[Array, Quantity("g", "Last mass.", method="of the last row")]
    rows: Annotated[Row, Table(Row, "Rows.", min_length=0, max_length=1_000_000)]


def rows_of_a_kind(given: Inputs) -> Results:
    """Rows counted up."""
    at = np.arange(float(given.many[0]))[None, :].repeat(len(given.many), axis=0)
    mass = at * given.size[:, None]
    words = np.where(at % 2 == 0, '"rows": []', "=1+1")
    row = Row(mass, at / 3, np.where(at % 2 == 0, at, np.nan), words, (at % 2).astype(np.intp))
    return Results(mass.max(axis=1, initial=0.0), row)


def spelled(given: Inputs, found: Results) -> Iterator[bytes]:
    yield b"begin\n"
    for mass in found.rows.mass[0]:
        yield f"{1000 * mass:.0f}\n".encode()


TOY: Calculator[Inputs, Results] = Calculator(
    title="How many?",
    summary="Rows.",
    inputs=Inputs,
    results=Results,
    formula=rows_of_a_kind,
    references=(Reference("none"),),
    cautions=(Caution("always", "Always."),),
    examples=(Example("two", given={"many": 2}, expected={"last": 1}, rtol=1e-12, source="by hand"),),
    formats=(OutputFormat("spelled", "text/x-spelled", "A line a row.", spelled),),
    charts=(BarChart(("last",), title="Last mass"),),
    propagates=False,
)


def join_output(options: OutputOptions, count: int, **more: Any) -> bytes:
    return b"".join(compute_output(TOY, {"many": count, **more}, options))


@pytest.mark.parametrize("count", [0, 1, ROWS_PER_CHUNK, ROWS_PER_CHUNK + 1, 2 * ROWS_PER_CHUNK + 500])
def test_a_long_table_holds_what_a_short_one_would(count: int) -> None:
    assert json.loads(join_output(OutputOptions(), count)) == compute_response(TOY, {"many": count})


def test_units_are_those_requested() -> None:
    options = OutputOptions(result_units={"rows.mass": "mg", "last": "kg"})
    response = json.loads(join_output(options, 2000))
    assert response == compute_response(TOY, {"many": 2000}, result_units=dict(options.result_units))
    assert response["results"]["rows"][3]["mass"] == 3000


def test_an_optional_column_leaves_out_missing_values() -> None:
    first, second = compute_response(TOY, {"many": 2})["results"]["rows"]
    assert first["sometimes"] == 0
    assert "sometimes" not in second


@pytest.mark.parametrize("count", [0, 3, 2500])
def test_csv_has_a_line_for_each_row(count: int) -> None:
    header, *lines = csv.reader(io.StringIO(join_output(OutputOptions("csv"), count).decode()))
    assert [name for name in header if not name.partition(" ")[0].endswith(("_u", "_low", "_high"))][:4] == [
        *("many", "size [g]", "last [g]", "rows.mass [g]")
    ]
    assert len(lines) == max(count, 1)
    if count:
        assert lines[1][-3:] == ["'=1+1", "odd", "always"], "no spreadsheet runs a text as a formula"
        assert [line[header.index("rows.mass [g]")] for line in lines] == [str(at) for at in range(count)]


def test_csv_with_a_decimal_comma() -> None:
    text = join_output(OutputOptions("csv", style=TextStyle(decimal=",", digits=3)), 2).decode()
    header, _, second = csv.reader(text.splitlines(), delimiter=";")
    assert second[header.index("rows.third")] == "0,333"


def test_a_format_of_its_own() -> None:
    assert get_media_types(TOY) == {"json": "application/json", "csv": "text/csv", "spelled": "text/x-spelled"}
    assert join_output(OutputOptions("spelled"), 3) == b"begin\n0\n1\n2\n"


def test_an_uncertainty_that_cannot_propagate_is_rejected() -> None:
    with pytest.raises(InvalidInput, match="does not propagate"):
        evaluate_request(TOY, {"many": 2, "size": "1 ± 0.1"})


def test_memory_is_bounded_while_a_long_table_is_written() -> None:
    """The text of 80,000 rows is some 8 MB; no more than a few blocks of it are held."""
    outcome = evaluate_columns(TOY, {"many": [80_000]}, 1, text=False)
    tracemalloc.start()
    written = sum(len(chunk) for chunk in iter_output(outcome, OutputOptions()))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert written > 6e6
    assert peak < 4e6
