"""Inputs that name a row of a table in the same request."""

from dataclasses import dataclass
from typing import Annotated, Any, Final

import numpy as np
import pytest

from gramwatt.engine.calculate import InvalidInput, compute_response
from gramwatt.model import (
    Array,
    BarChart,
    Calculator,
    Caution,
    DeclarationError,
    Example,
    IndexArray,
    Quantity,
    Reference,
    RowName,
    StringArray,
    Table,
    Text,
)
from gramwatt.model.kinds import Kind, number_names
from gramwatt.web.openapi.document import build_document
from gramwatt.web.pages.description import describe_input


@dataclass(frozen=True, slots=True)
class Pack:
    name: Annotated[StringArray, Text("Name.", default="pack")]
    mass: Annotated[Array, Quantity("g", "Mass.", at_least=0, at_most=1000)]


CHOSEN: Final = RowName("packs", "The pack.")


@dataclass(frozen=True, slots=True)
class Trial:
    name: Annotated[StringArray, Text("Name.", default="trial")]
    pack: Annotated[IndexArray, CHOSEN]
    like: Annotated[IndexArray, RowName("trials", "Another trial.")]


@dataclass(frozen=True, slots=True)
class Inputs:
    packs: Annotated[Pack, Table(Pack, "Packs.", max_length=5, optional=True)]
    trials: Annotated[Trial, Table(Trial, "Trials.", max_length=5, optional=True)]
    spare: Annotated[IndexArray, RowName("packs", "The spare pack.")]


@dataclass(frozen=True, slots=True)
class Results:
    mass: Annotated[Array, Quantity("g", "Mass of what is named.", method="sum")]
    like: Annotated[Array, Quantity("1", "Sum of the positions of trials.", signed=True, method="sum")]


def weigh_named(given: Inputs) -> Results:
    """Add the masses of all packs that are named."""
    rows = np.arange(len(given.spare))
    masses = np.concatenate([given.packs.mass, np.zeros((len(rows), 1))], axis=1)  # position -1 is none
    chosen = np.concatenate([given.trials.pack, given.spare[:, None]], axis=1)
    return Results(masses[rows[:, None], chosen].sum(axis=1), given.trials.like.sum(axis=1).astype(float))


def make_calculator(inputs: type[Any] = Inputs, formula: Any = weigh_named) -> Calculator[Any, Any]:
    return Calculator(
        title="What weighs what is named?",
        summary="Named packs.",
        inputs=inputs,
        results=Results,
        formula=formula,
        references=(Reference("none"),),
        cautions=(Caution("always", "Always."),),
        examples=(Example("none", given={}, expected={"mass": 0}, rtol=1e-9, source="none"),),
        charts=(BarChart(("mass",), title="Mass"),),
    )


NAMED: Final = make_calculator()
PACKS: Final = [{"name": "four", "mass": 100}, {"name": "six", "mass": "230 ± 3 g"}, {"mass": 50}]


def read_errors(**inputs: object) -> dict[str, tuple[str, str]]:
    with pytest.raises(InvalidInput) as raised:
        compute_response(NAMED, inputs)
    return {error.pointer: (error.detail, error.accepted) for error in raised.value.errors}


def test_names_are_read_to_positions() -> None:
    """By hand: 230 + 50 + 100 = 380 g; the second trial is like the first, position 0, the first like none, -1."""
    trials = [{"pack": "six", "name": "a"}, {"pack": "pack", "like": "a"}]
    response = compute_response(NAMED, {"packs": PACKS, "trials": trials, "spare": "four"})
    assert response["results"] == {"mass": 380, "like": -1}
    assert response["uncertainty"]["mass"]["standard"] == pytest.approx(3, rel=0.01)  # of the draws, by the same names


def test_a_response_returns_the_names() -> None:
    trials = [{"pack": "six", "name": "a"}, {"like": "a", "name": "b"}]
    given = compute_response(NAMED, {"packs": PACKS, "trials": trials, "spare": "pack"})["inputs"]
    assert given["trials"] == [{"name": "a", "pack": "six"}, {"name": "b", "like": "a"}]
    assert given["spare"] == "pack"
    assert "spare" not in compute_response(NAMED, {"packs": PACKS})["inputs"]


def test_the_order_of_inputs_does_not_matter() -> None:
    inputs = {"spare": "six", "trials": [{"pack": "four"}], "packs": PACKS}
    assert compute_response(NAMED, inputs)["results"]["mass"] == 330


def test_a_name_in_a_query_may_look_like_a_number() -> None:
    packs = [{"name": "6", "mass": 10}]
    assert compute_response(NAMED, {"packs": packs, "spare": "6"})["results"]["mass"] == 10
    assert "/spare" in read_errors(packs=packs, spare=6)


@pytest.mark.parametrize(
    ("inputs", "pointer", "words", "accepted"),
    [
        ({"packs": PACKS, "spare": "fuor"}, "/spare", "did you mean four?", "four, six or pack"),
        (
            {"packs": PACKS, "trials": [{}, {"pack": "sixx"}]},
            "/trials/1/pack",
            "did you mean six?",
            "four, six or pack",
        ),
        (
            {"packs": [{"mass": 1}, {"mass": 2}], "spare": "pack"},
            "/spare",
            '2 rows of packs have the name "pack"',
            "packs",
        ),
        ({"spare": "four"}, "/spare", "No packs are given", "the name of one of the packs"),
        ({"packs": "four", "spare": "four"}, "/spare", "No packs are given", "the name of one of the packs"),
        ({"packs": PACKS, "spare": None}, "/spare", "Enter a name, not null", "the name of one of the packs"),
        ({"packs": PACKS, "spare": ""}, "/spare", 'There is no row "" in packs', "four, six or pack"),
        (
            {"packs": PACKS, "spar": 1, "spare": "seven"},
            "/spare",
            'There is no row "seven" in packs',
            "four, six or pack",
        ),
    ],
)
def test_what_is_wrong_with_a_name(inputs: dict[str, object], pointer: str, words: str, accepted: str) -> None:
    detail, listed = read_errors(**inputs)[pointer]
    assert words in detail
    assert accepted in listed


def test_an_invalid_row_cannot_be_named() -> None:
    """Its own error is enough; the others can still be named."""
    errors = read_errors(packs=[{"name": 5, "mass": 1}, {"name": "six", "mass": 2}], spare="six")
    assert list(errors) == ["/packs/0/name"]
    errors = read_errors(packs=[{"name": "\n", "mass": 1}], spare="\n")
    assert errors["/spare"] == ('There is no row "\n" in packs', "the name of one of the packs")


def test_two_rows_of_one_name_are_no_error_if_none_names_them() -> None:
    assert compute_response(NAMED, {"packs": [{"mass": 1}, {"mass": 2}]})["results"]["mass"] == 0


def test_the_contract_and_the_form_know_of_which_table() -> None:
    schemas = build_document()["components"]["schemas"].values()
    assert any((schema.get("type"), schema.get("x-row-of")) == ("string", "packs") for schema in schemas)
    described = describe_input("pack", CHOSEN)
    assert (described["kind"], described["row_of"], described["required"]) == ("row-name", "packs", False)


@pytest.mark.parametrize(
    ("table", "kind"),
    [
        ("parts", Text("Name.", default="pack")),
        ("packs", Quantity("g", "Name.", at_least=0, at_most=1, default=0)),
    ],
)
def test_a_declaration_must_refer_to_a_table_with_names(table: str, kind: Kind) -> None:
    row: Any = dataclass(type("Row", (), {"__annotations__": {"name": Annotated[Any, kind]}}))
    fields = {
        "packs": Annotated[row, Table(row, "Packs.", optional=True)],
        "spare": Annotated[IndexArray, RowName(table, "The spare pack.")],
    }
    inputs: Any = dataclass(type("Inputs", (), {"__annotations__": fields}))

    def weigh(given: inputs) -> Results:
        """Never called."""
        raise NotImplementedError

    with pytest.raises(DeclarationError, match=f"spare refers to {table}, which is no table"):
        make_calculator(inputs, weigh)


@pytest.mark.parametrize(
    ("names", "expected"),
    [
        ([None], ["pack"]),
        (["four", None], ["four", "pack"]),
        ([None, "four", None], ["pack 1", "four", "pack 3"]),
        (["pack", None], ["pack", "pack 2"]),
        ([None, None, "pack 1"], ["pack 4", "pack 2", "pack 1"]),
        (["a", "a"], ["a", "a"]),
    ],
)
def test_rows_without_a_name_get_different_ones(names: list[str | None], expected: list[str]) -> None:
    assert number_names(names, "pack") == expected


def test_an_error_lists_the_names_that_can_be_used() -> None:
    packs = [{"name": "a", "mass": 1}, {"name": "a", "mass": 2}, {"name": "b", "mass": 3}]
    detail, accepted = read_errors(packs=packs, spare="a")["/spare"]
    assert detail == '2 rows of packs have the name "a": give each a name of its own'
    assert accepted == "b"
