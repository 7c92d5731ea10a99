"""What a calculator decides once a request: seen by all that get inputs, given by no request, alike in every draw."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final, get_type_hints

import numpy as np
import pytest

from dimensions import wrong_dimensions
from gramwatt.blocks import check_limits, map_blocks, use_runner
from gramwatt.charts.calculator_charts import make_chart
from gramwatt.charts.chart_request import ChartRequest
from gramwatt.engine import craft_fields, evaluate
from gramwatt.engine.budget import Budget, Cancelled, TimeLimitExceeded
from gramwatt.engine.calculate import InvalidInput, compute_response
from gramwatt.engine.column_types import ABSENT
from gramwatt.engine.evaluate import Outcome, evaluate_columns
from gramwatt.engine.response import build_response
from gramwatt.engine.sentences import FilledSentence, build_sentence
from gramwatt.model import (
    Array,
    Calculator,
    Decided,
    DeclarationError,
    Deviate,
    Kind,
    ObjectArray,
    Quantity,
    Table,
)
from gramwatt.web import create_app
from gramwatt.web.middleware.work_limits import CANCELLED_KEY, get_max_short_inputs, runs_long
from gramwatt.web.openapi.document import build_document
from gramwatt.web.pages.description import describe_calculator
from gramwatt.web.problems import CLIENT_CLOSED_REQUEST
from searching import CALCULATOR, Gears, Inputs, find_gears
from web.invented import add_calculators

REQUEST: Final[dict[str, Any]] = {"speed": 900, "target_speed": 620, "tolerance": 6}
UNCERTAIN: Final[dict[str, Any]] = {**REQUEST, "speed": "900 ± 9", "target_speed": "620 ± 60"}


@pytest.fixture(scope="module")
def _registered(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Offer the calculator beside the shipped ones."""
    folder: Path = tmp_path_factory.mktemp("calculators")
    (folder / "invented_gears.py").write_text("from searching import CALCULATOR\n", encoding="utf-8")
    with add_calculators(folder):
        yield


def respond(**changes: object) -> Any:
    return compute_response(CALCULATOR, {**REQUEST, **changes}, working=True)


def respond_in_words(**changes: object) -> tuple[Any, FilledSentence]:
    outcome = outcome_of(CALCULATOR, speed=900, **changes)
    response = build_response(outcome, 0, working=True)
    sentence = build_sentence(outcome, 0, response)
    assert sentence is not None
    return response, sentence


def outcome_of(calculator: Calculator[Any, Any] = CALCULATOR, /, **changes: object) -> Outcome:
    outcome = evaluate_columns(calculator, {n: [v] for n, v in {**UNCERTAIN, **changes}.items()}, 1, text=False)
    assert not outcome.errors
    return outcome


def search_every_pair(ratio: float, tolerance: float, most: int) -> tuple[int, int]:
    """Return driving and driven teeth of the smallest pair, by brute force."""
    teeth = range(8, most + 1)
    pairs = [(driving, driven) for driving in teeth for driven in teeth]
    fitting = [pair for pair in pairs if abs(pair[1] / pair[0] / ratio - 1) <= tolerance]
    return min(fitting, key=lambda pair: (sum(pair), pair[0]))


def test_a_decision_follows_defaults_and_assumptions() -> None:
    """By hand: half the speed is a ratio of 2, within 1 % first at 16 to 8 teeth, 900 rpm to 450 rpm."""
    results = compute_response(CALCULATOR, {"speed": 900})["results"]
    assert results == {"output_speed": 450, "driving_teeth": 8, "driven_teeth": 16}


@pytest.mark.parametrize(("target", "tolerance", "most"), [(620, 6, 12), (601, 0.2, 60), (33.3, 1, 300), (899, 3, 50)])
def test_a_search_finds_what_brute_force_finds(target: float, tolerance: float, most: int) -> None:
    results = respond(target_speed=target, tolerance=tolerance, most_teeth=most)["results"]
    found = results["driving_teeth"], results["driven_teeth"]
    assert found == search_every_pair(900 / target, tolerance / 100, most)


def test_many_requests_at_once_decide_each_for_itself() -> None:
    speeds: list[Any] = ["900 ± 9", "fast", 900, "900 ± 9"]
    outcome = evaluate_columns(
        CALCULATOR, {"speed": speeds, "target_speed": ["620 ± 60", 1, 450, ABSENT], "tolerance": [6] * 4}, 4, text=False
    )
    assert list(outcome.errors) == [1]
    for row, request in ((0, UNCERTAIN), (2, {**REQUEST, "target_speed": 450}), (3, {"speed": "900 ± 9"})):
        alone = compute_response(CALCULATOR, {"tolerance": 6, **request})
        together = build_response(outcome, row)
        assert {key: together[key] for key in ("results", "inputs", "cautions")} == {
            key: alone[key] for key in ("results", "inputs", "cautions")
        }
        assert together.get("uncertainty") == alone.get("uncertainty")


def test_draws_have_the_decision_of_the_inputs_as_given(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of the formula's two calls the second has the draws: the very object of the first, once for each of them."""
    seen: list[ObjectArray] = []
    call = evaluate._call_formula

    def watch(calculator: Any, inputs: Inputs, rows: int) -> Any:
        seen.append(inputs.gears)
        return call(calculator, inputs, rows)

    monkeypatch.setattr(evaluate, "_call_formula", watch)
    outcome_of()
    (one,), draws = seen
    assert isinstance(one, Gears)
    assert len(draws) > 1000
    assert all(each is one for each in draws)


def test_a_search_runs_once_a_request() -> None:
    calls: list[int] = []

    def count(given: Any) -> ObjectArray:
        calls.append(len(given.speed))
        return find_gears(given)

    outcome_of(deciding(count))
    assert calls == [1]


def test_draws_of_several_requests_keep_the_decision_of_each() -> None:
    """By hand: 9 rpm of 900 rpm at 8/11 and at 8/16; the draws of the target change nothing."""
    outcome = evaluate_columns(
        CALCULATOR,
        {"speed": ["900 ± 9"] * 2, "target_speed": ["620 ± 60", "450 ± 60"], "tolerance": [6, 1]},
        2,
        text=False,
    )
    assert outcome.uncertainty is not None
    rpm = np.pi / 30
    assert outcome.uncertainty.standard["output_speed"] / rpm == pytest.approx([9 * 8 / 11, 9 * 8 / 16], rel=1e-6)


def test_ranges_of_results_follow_from_the_decision() -> None:
    """By hand: 8/11 of 900 ± 9 rpm is 654.5 ± 6.55 rpm, 95 % of it within 1.96 u, all of it from the speed."""
    uncertainty = compute_response(CALCULATOR, UNCERTAIN)["uncertainty"]
    assert uncertainty["output_speed"] == {
        "standard": pytest.approx(9 * 8 / 11, rel=1e-6),
        "low": pytest.approx((900 - 1.96 * 9) * 8 / 11, rel=1e-4),
        "high": pytest.approx((900 + 1.96 * 9) * 8 / 11, rel=1e-4),
        "shares": {"speed": 1.0},
    }
    assert uncertainty["driven_teeth"]["standard"] == 0


def test_cautions_rules_sentences_and_steps_see_it() -> None:
    """By hand: 12 teeth reach a ratio of 1.5 within 1 % (12 to 8) but not one of 1.6; 20 teeth are under 34."""
    fits, sentence = respond_in_words(target_speed=600, tolerance=1, most_teeth=12)
    assert (sentence.text, sentence.verdict) == ("8 to 12 teeth.", "good")
    assert {each["code"] for each in fits["cautions"]} == {"losses-ignored", "undercut"}
    steps = {each["name"]: each.get("value") for each in fits["working"]["steps"]}
    assert steps["teeth_in_all"] == 20
    none, sentence = respond_in_words(target_speed=562.5, tolerance=1, most_teeth=12)
    assert (sentence.text, sentence.verdict) == ("No pair fits.", "bad")
    assert none["results"]["output_speed"] is None
    assert "no-pair" in {each["code"] for each in none["cautions"]}


@pytest.mark.usefixtures("_registered")
def test_charts_see_it() -> None:
    """By hand: the line goes to 1800 rpm at 8/11, the curve starts where the driven gear turns, at 654.5 rpm."""
    outcome = outcome_of()
    request = ChartRequest(CALCULATOR, UNCERTAIN, False, outcome, build_response(outcome, 0))
    lines, curve = (make_chart(request, chart) for chart in CALCULATOR.charts)
    assert lines is not None
    assert curve is not None
    assert "8 to 11" in lines.description
    assert "1800 rpm" in lines.description
    assert "from 654.5 rpm to 900 rpm" in curve.description


def test_dimensions_are_proved_with_the_decision_made_again() -> None:
    raw = outcome_of().inputs
    assert wrong_dimensions(CALCULATOR, dataclasses.replace(raw, target_speed=np.array([np.nan]))) == []


# No input


@pytest.mark.parametrize("value", [1, None, "8 to 11", {"driving": 8}])
def test_no_request_may_give_it(value: object) -> None:
    with pytest.raises(InvalidInput) as raised:
        respond(gears=value)
    (error,) = raised.value.errors
    assert error.pointer == "/gears"
    assert error.detail == 'Unknown input "gears"'
    assert "gears" not in error.accepted


def test_no_description_names_it() -> None:
    assert "gears" not in CALCULATOR.input_fields
    assert [each["name"] for each in describe_calculator(CALCULATOR)["inputs"]] == [
        "speed", "target_speed", "tolerance", "most_teeth",
    ]  # fmt: skip


@pytest.mark.usefixtures("_registered")
def test_neither_contract_nor_craft_documents_have_it() -> None:
    contract = build_document()
    assert "/v1/invented-gears" in contract["paths"]
    inputs = str(contract["components"]["schemas"]["InventedGearsInputs"])
    assert "'most_teeth'" in inputs
    assert "'gears'" not in inputs
    assert "most_teeth" in craft_fields.get_fields()
    assert "gears" not in craft_fields.get_fields()
    assert "gears" not in craft_fields.get_members()


# Long searches


def test_blocks_are_mapped_in_order_and_when_their_result_is_taken() -> None:
    """Without a runner as `map` does; within `use_runner` by that, and afterwards as before."""
    computed: list[int] = []

    def square(block: int) -> int:
        computed.append(block)
        return block * block

    found = map_blocks(square, range(10**9))
    assert computed == []
    assert [next(found), next(found)] == [0, 1]
    assert computed == [0, 1]
    with use_runner(lambda function, blocks: iter([-2])):
        assert list(map_blocks(square, [2])) == [-2]
    assert list(map_blocks(square, [2, 3])) == [4, 9]


def test_a_runner_of_the_caller_computes_the_blocks() -> None:
    """Each of the 33 driving gears from 8 to 40 teeth is a block; backwards gives the same pair."""
    blocks: list[int] = []

    def run_backwards(function: Callable[[Any], Any], given: Iterable[Any]) -> Iterator[Any]:
        own = list(given)
        blocks.extend(own)
        return iter([function(block) for block in reversed(own)][::-1])

    with use_runner(run_backwards):
        backwards = respond()
    assert backwards == respond()
    assert blocks == list(range(8, 41))


def test_a_search_stops_at_the_time_limit_of_its_request() -> None:
    computed: list[int] = []
    granted = Budget(seconds=60)

    def use_up(block: int) -> None:
        computed.append(block)
        granted.seconds = 0 if block == 2 else 60

    calculator = deciding(lambda given: list(map_blocks(use_up, itertools.count())))
    with granted, pytest.raises(TimeLimitExceeded):
        outcome_of(calculator)
    assert computed == [0, 1, 2]


def test_a_search_that_leaves_out_all_combinations_stops_too() -> None:
    """A loop without a block checks the limits by itself; beyond the request there are none."""

    def leave_out_all() -> Iterator[int]:
        while True:
            granted.seconds = 0
            check_limits()

    granted = Budget(seconds=60)
    calculator = deciding(lambda given: list(map_blocks(abs, leave_out_all())))
    with granted, pytest.raises(TimeLimitExceeded):
        outcome_of(calculator)
    check_limits()


def test_a_search_stops_when_the_client_is_gone() -> None:
    computed: list[int] = []
    calculator = deciding(lambda given: list(map_blocks(computed.append, itertools.count())))
    with Budget(is_cancelled=lambda: len(computed) == 3), pytest.raises(Cancelled):
        outcome_of(calculator)
    assert computed == [0, 1, 2]


@pytest.mark.usefixtures("_registered")
def test_a_service_ends_a_search_with_a_problem(monkeypatch: pytest.MonkeyPatch) -> None:
    """However short the request: it runs in a thread, and nothing is left of it when its time is over."""
    assert get_max_short_inputs(CALCULATOR) == 0
    assert runs_long("/v1/invented-gears", 0)
    assert runs_long("/v1/invented-gears/output_speed", 0)
    url = "/v1/invented-gears?speed=900"
    client = create_app().test_client()
    assert client.get(url).get_json()["results"]["output_speed"] == 450
    assert client.get(f"{url}.5", environ_overrides={CANCELLED_KEY: lambda: True}).status_code == CLIENT_CLOSED_REQUEST
    monkeypatch.setenv("GRAMWATT_REQUEST_SECONDS", "0.000001")
    response = create_app().test_client().get(url)
    assert (response.status_code, response.get_json()["title"]) == (413, "The request needs too much computing")


# Declarations


def declare(**fields: Any) -> Any:
    """Return a dataclass with these annotations."""
    return dataclass(frozen=True)(type("Inputs", (), {"__annotations__": fields, "__doc__": "Inputs."}))


def deciding(value: Any, description: str = "The smallest pair.") -> Calculator[Any, Any]:
    """Return the calculator with another decision."""
    hints = get_type_hints(Inputs, include_extras=True)
    inputs = declare(**{**hints, "gears": Annotated[ObjectArray, Decided(description, value=value)]})

    def invented_gears(given: Any) -> Any:
        """Find the smallest pair of gears."""
        return CALCULATOR.formula(given)

    invented_gears.__annotations__ = {"given": inputs, "return": CALCULATOR.results}
    return dataclasses.replace(CALCULATOR, inputs=inputs, formula=invented_gears, steps=None)


@pytest.mark.parametrize(
    "made",
    [
        pytest.param(np.zeros(1), id="numbers"),
        pytest.param(np.full(2, None), id="too many"),
        pytest.param(np.full((1, 1), None), id="a column"),
        pytest.param("gears", id="no array"),
    ],
)
def test_a_decision_of_another_shape_is_an_error_in_the_calculator(made: object) -> None:
    with pytest.raises(TypeError, match="invented-gears: gears is not an array of 1 objects"):
        outcome_of(deciding(lambda given: made))


@pytest.mark.parametrize(
    ("kind", "expected"),
    [
        (Decided("", value=find_gears), "gears: a decision needs a description"),
        (Decided("Pair.", value=None), "gears: value is not a function of the inputs"),  # type: ignore[arg-type]
    ],
)
def test_a_wrong_declaration_is_reported(kind: Decided, expected: str) -> None:
    with pytest.raises(DeclarationError, match=expected):
        deciding(kind.value, kind.description)


@pytest.mark.parametrize("kind", [Decided("Pair.", value=find_gears), Deviate("Spread.")], ids=lambda k: k.kind_name)
def test_no_row_of_a_table_decides(kind: Kind) -> None:
    row = declare(mass=Annotated[Array, Quantity("g", "Mass.", at_least=0, at_most=1)], own=Annotated[Any, kind])
    problems = list(Table(row, "Rows.").find_input_problems({}))
    assert problems == [f"own: a row cannot have a {type(kind).__name__}"]


def test_no_result_is_a_decision() -> None:
    results = declare(gears=Annotated[ObjectArray, Decided("Pair.", value=find_gears)])
    with pytest.raises(DeclarationError, match="gears: a result cannot be a Decided"):
        dataclasses.replace(CALCULATOR, results=results)
