"""Search among options: against brute force and a general solver, bounds of what was left out, swaps, bad input."""

import itertools
import tracemalloc
from typing import Any, Final

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from calculators.fit_out_cases import CRAFT, BuiltSet, build_all, evaluate, make_problem
from gramwatt import InvalidInput, calculate
from gramwatt.calculators._shared import option_slots, set_problem, set_search
from gramwatt.calculators.fit_out import CALCULATOR as FIT_OUT
from gramwatt.engine.budget import Budget, Cancelled
from gramwatt.engine.calculate import evaluate_request
from gramwatt.engine.formats import OutputOptions, iter_output
from gramwatt.physics import combinations

ACCURACY: Final = "Packs and flying time; Full throttle"
"""The sections of ACCURACY.md that cover this calculator too."""
RTOL: Final = 1e-9
"""Two ways of adding up the same masses and prices."""


def _dominates(one: BuiltSet, other: BuiltSet) -> bool:
    pairs = list(zip(one.objectives, other.objectives, strict=True))
    tolerances = [RTOL * max(abs(a), abs(b)) for a, b in pairs]
    no_worse = all(a >= b - tolerance for (a, b), tolerance in zip(pairs, tolerances, strict=True))
    return no_worse and any(a > b + tolerance for (a, b), tolerance in zip(pairs, tolerances, strict=True))


@pytest.mark.parametrize("seeds", [range(start, start + 20) for start in range(0, 200, 20)], ids=lambda seeds: seeds[0])
def test_equals_brute_force(seeds: range) -> None:
    """Each set built as a craft of its own by build, one after another: the same sets, front, order and counts."""
    for seed in seeds:
        inputs = make_problem(seed)
        every = build_all(inputs)
        feasible = [each for each in every if each.is_feasible]
        found = evaluate(FIT_OUT, inputs).results
        assert found.combination_count[0] == found.compared_count[0] == len(every)
        assert found.feasible_count[0] == len(feasible)
        names = found.ranking.name[0].tolist()
        assert sorted(names) == sorted(each.changes for each in feasible)[: len(names)], seed
        by_name = {each.changes: each for each in every}
        at = set_problem.PREFERENCES.index(inputs["preference"])
        preferred = [by_name[name].objectives[at] for name in names]
        assert all(one >= other - RTOL * abs(one) for one, other in itertools.pairwise(preferred))
        for column, attribute in (("endurance", "endurance"), ("mass_margin", "margin"), ("price", "price")):
            values = getattr(found.ranking, column)[0]
            expected = [getattr(by_name[name], attribute) for name in names]
            assert values == pytest.approx(expected, rel=RTOL, abs=1e-12)
        front = [each for each in feasible if not any(_dominates(other, each) for other in feasible)]
        objectives = {tuple(np.round(each.objectives, 9)) for each in front}
        listed = [by_name[name] for name in found.pareto_front.name[0].tolist()]
        assert {tuple(np.round(each.objectives, 9)) for each in listed} == objectives
        present = by_name["as it is"]
        assert found.present_mass_margin[0] == pytest.approx(present.margin, rel=RTOL, abs=1e-12)
        singles = {each.changes for each in every if each.is_under and each.swaps == 1}
        ways = found.swaps_under_limit.name[0].tolist()
        flying = {name for name in singles if np.isfinite(by_name[name].endurance * by_name[name].thrust_to_weight)}
        assert {way for way in ways if ", " not in way} == (set() if present.is_under else flying)
        pairs = [way for way in ways if ", " in way]
        assert all(by_name[way].is_under and not singles & set(way.split(", ")) for way in pairs)


@pytest.mark.parametrize("seed", range(50))
def test_equals_a_general_solver(seed: int) -> None:
    """HiGHS by scipy.optimize.milp: the lightest set within a price, where mass and price are linear in the options."""
    rng = np.random.default_rng(seed)
    slots = int(rng.integers(3, 9))
    options = [
        {"slot": f"slot {at}", "name": f"{at}.{number}", "mass": round(float(rng.uniform(0, 9)), 1), "price": price}
        for at in range(slots)
        for number, price in enumerate(rng.integers(0, 30, size=rng.integers(2, 6)).tolist())
    ]
    owner = np.array([int(option["slot"].split()[1]) for option in options])
    mass, price = (np.array([float(option[name]) for option in options]) for name in ("mass", "price"))
    least = sum(price[owner == at].min() for at in range(slots))
    most = float(least + rng.integers(1, 40))
    one_each = (owner[None, :] == np.arange(slots)[:, None]).astype(float)
    solved = milp(
        mass,
        constraints=[LinearConstraint(one_each, 1, 1), LinearConstraint(price, -np.inf, most)],
        integrality=np.ones(len(options), dtype=np.int64),
        bounds=Bounds(0, 1),
    )
    craft = {**CRAFT, "packs": CRAFT["packs"][:1], "mass_limit": 400, "part_options": options}
    found = evaluate(FIT_OUT, {**craft, "preference": "mass-margin", "maximum_price": most}).results
    base = 41.5 + 4 * 11.4 + 24.6 + 31.2 + 16 * 0.52 + 4.1 + 78.3 + 4 * 1.85
    assert solved.success
    assert found.mass[0] * 1000 == pytest.approx(base + solved.fun, rel=RTOL)
    assert found.price[0] <= most


def _make_large(slots: int, **more: Any) -> dict[str, Any]:
    """Return a problem of ten options for each slot, and two packs."""
    rng = np.random.default_rng(7)
    options = [
        {
            "slot": f"slot {at}",
            "name": f"{at}.{number}",
            "mass": round(float(rng.uniform(1, 5)), 1),
            "price": number * 2.0,
        }
        for at in range(slots)
        for number in range(10)
    ]
    return {**CRAFT, "part_options": options, "mass_limit": 262, **more}


@pytest.mark.parametrize("preference", set_problem.PREFERENCES)
def test_what_is_left_out_changes_nothing(preference: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """20,000 sets, all compared, and the same where only those that no other one beats are."""
    inputs = _make_large(4, preference=preference, minimum_thrust_to_weight=5, maximum_price=40)
    everything = evaluate(FIT_OUT, inputs).results
    monkeypatch.setattr(set_problem, "MAX_ENUMERATED", 1000)
    pruned = evaluate(FIT_OUT, inputs).results
    assert pruned.compared_count[0] < everything.compared_count[0] == pruned.combination_count[0] == 20_000
    assert pruned.pareto_front_count[0] == everything.pareto_front_count[0] > 5
    for column in ("mass", "endurance", "price"):
        one, other = (getattr(each.pareto_front, column) for each in (everything, pruned))
        assert one == pytest.approx(other, rel=1e-12)
        assert getattr(everything, column) == pytest.approx(getattr(pruned, column), rel=1e-12)


def test_a_quadrillion_combinations() -> None:
    """The lightest option of each slot wins by margin; its sum is by hand."""
    inputs = _make_large(15, preference="mass-margin", mass_limit=400)
    found = evaluate(FIT_OUT, inputs).results
    lightest = sum(
        min(each["mass"] for each in inputs["part_options"] if each["slot"] == f"slot {at}") for at in range(15)
    )
    base = 41.5 + 4 * 11.4 + 24.6 + 31.2 + 16 * 0.52 + 4.1 + 66.9 + 4 * 1.85
    assert found.combination_count[0] == pytest.approx(2e15, rel=1e-12)
    assert found.mass[0] * 1000 == pytest.approx(base + lightest, rel=RTOL)


def test_slots_without_a_choice_take_no_memory() -> None:
    """16,384 sets of 460 slots without a choice: a column of 8 bytes for each slot would take 60 MB."""
    choices = [{"slot": f"choice {at}", "name": str(choice), "mass": 1} for at in range(14) for choice in range(2)]
    single = [{"slot": f"slot {at}", "name": "only", "mass": 0.01} for at in range(460)]
    given = evaluate(FIT_OUT, {**CRAFT, "part_options": [*choices, *single]}).inputs
    slots = option_slots.list_slots(given)
    tracemalloc.start()
    try:
        problem = set_problem.make_problem(given, slots)
        assert tracemalloc.get_traced_memory()[1] < 12e6
    finally:
        tracemalloc.stop()
    assert isinstance(problem, set_problem.Problem)
    last = problem.make_sets(np.array([0]), np.array([len(problem.sums.costs) - 1]))[0]
    assert [slots[at].name for at in np.flatnonzero(last)] == [f"choice {at}" for at in range(14)]


def test_too_many_combinations_have_a_reason() -> None:
    """20 packs, 20 propellers and four slots of 20 options that change more than the mass: 64 million to compare."""
    changes = {"kv": 4000, "controller_rating": 20, "avionics_power": 4, "throttle_cap": 50}
    options = [
        {"slot": name, "name": f"{name} {number}", "mass": 1 + number, name: value + number}
        for name, value in changes.items()
        for number in range(20)
    ]
    packs = [{**CRAFT["packs"][0], "name": f"pack {number}"} for number in range(20)]
    propellers = [{**CRAFT["propellers"][0], "name": f"propeller {number}"} for number in range(20)]
    inputs = {**CRAFT, "part_options": options, "packs": packs, "propellers": propellers}
    response = calculate("fit-out", **inputs)
    (reason,) = [each for each in response["cautions"] if each["code"] == "too-many-combinations"]
    assert "64000000 combinations" in reason["text"]
    assert response["results"]["endurance"] is None
    assert response["results"]["compared_count"] == 0


def test_the_ranking_as_ndjson_stops_within_its_search(monkeypatch: pytest.MonkeyPatch) -> None:
    """After the client has left, no further block is compared."""
    outcome = evaluate_request(FIT_OUT, _make_large(2))
    blocks: list[object] = []
    monkeypatch.setattr(set_search, "compare_block", lambda *given: blocks.append(given))
    with Budget(is_cancelled=lambda: True), pytest.raises(Cancelled):
        next(iter_output(outcome, OutputOptions(form="ndjson")))
    assert not blocks


def test_options_of_two_slots_that_change_one_input_conflict() -> None:
    options = [
        {"slot": slot, "name": f"{slot} {number}", "mass": 3, "avionics_power": 4 + number}
        for slot in ("camera", "receiver")
        for number in range(2)
    ]
    response = calculate("fit-out", **{**CRAFT, "part_options": options})
    assert "options-conflict" in [each["code"] for each in response["cautions"]]
    assert response["results"]["most_missed_requirement"] is None
    assert response["results"]["shortfall_share"] is None


def test_negative_slope_of_power_is_not_pruned(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a heavier set might fly longer, nothing is left out for being heavier: the request is refused."""
    monkeypatch.setattr(set_problem, "MAX_ENUMERATED", 1000)
    motors = [
        {"slot": "motor", "name": "slow", "mass": 11, "kv": 2500, "motor_resistance": 900, "no_load_current": 0.2}
    ]
    inputs = _make_large(4, mean_power=60, mass_exponent=0)
    inputs["part_options"] = [*inputs["part_options"], *motors]
    assert evaluate(FIT_OUT, inputs).inputs.search[0].not_compared is set_problem.NotCompared.NOT_RISING
    assert evaluate(FIT_OUT, {**inputs, "mass_exponent": 1.2}).inputs.search[0].not_compared is None


def test_first_line_brings_it_under_the_limit() -> None:
    """An invented build 3.02 g over its limit; by hand, 31.2 - 24.8 = 6.4 g less is 3.38 g under."""
    response = calculate("fit-out", **CRAFT)
    results = response["results"]
    assert results["present_mass_margin"] == pytest.approx(-3.02, rel=RTOL)
    assert results["recommended_swap"] == "light camera instead of camera"
    assert results["swapped_mass_margin"] == pytest.approx(3.38, rel=RTOL)
    way = results["swaps_under_limit"][1]
    assert way["mass_saved_per_price"] == pytest.approx(11.4 / 19, rel=RTOL)
    assert way["mass_saved_per_endurance_lost"] == pytest.approx(way["mass_change"] / way["endurance_change"], rel=RTOL)


def test_ranges_are_those_of_build() -> None:
    """The best set has the range that build gives the same craft."""
    craft = {
        **CRAFT,
        "part_options": [{"slot": "camera", "name": "light camera", "mass": 24.8}],
        "packs": CRAFT["packs"][:1],
    }
    found = calculate("fit-out", **craft)
    parts = [{**part, "mass": 24.8} if part["name"] == "camera" else part for part in CRAFT["parts"]]
    plain = {name: value for name, value in craft.items() if name not in ("part_options", "ranking_size")}
    built = calculate("build", **{**plain, "parts": parts})
    assert found["results"]["endurance"] == pytest.approx(built["results"]["longest_endurance"], rel=RTOL)
    for end in ("low", "high"):
        expected = built["uncertainty"]["longest_endurance"][end]
        assert found["uncertainty"]["endurance"][end] == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize(
    ("options", "pointer"),
    [
        ([{"slot": "camera", "name": "x", "mass": 5, "colour": 3}], "/part_options/0/colour"),
        ([{"name": "x", "mass": 5}], "/part_options/0/slot"),
        ([{"slot": "camera", "name": "x"}], "/part_options/0/mass"),
        ([{"slot": "camera", "name": "x", "mass": -5}], "/part_options/0/mass"),
    ],
)
def test_bad_options_are_named(options: list[dict[str, Any]], pointer: str) -> None:
    with pytest.raises(InvalidInput) as error:
        calculate("fit-out", **{**CRAFT, "part_options": options})
    assert pointer in [each.pointer for each in error.value.errors]


def test_contradicting_requirements_name_the_one_that_is_missed() -> None:
    response = calculate("fit-out", **{**CRAFT, "minimum_endurance": 20})
    results = response["results"]
    assert results["feasible_count"] == 0
    assert results["most_missed_requirement"] == "endurance"
    assert results["shortfall_share"] == pytest.approx(100 * (1 - results["endurance"] / 20), rel=RTOL)
    assert "no-set-meets-requirements" in [each["code"] for each in response["cautions"]]


@pytest.mark.parametrize("columns", [1, 2, 3, 4])
def test_front_of_points(columns: int) -> None:
    """By definition, point by point; with ties and equal points."""
    rng = np.random.default_rng(columns)
    for size in (0, 1, 7, 300, 2500):
        points = rng.integers(0, 12 if size < 2500 else 400, size=(size, columns)).astype(float)
        front = set(combinations.find_front(points).tolist())
        expected = set()
        for at in range(size):
            below = (points <= points[at]).all(axis=1)
            beats = below & ((points < points[at]).any(axis=1) | (np.arange(size) < at))
            if not beats.any():
                expected.add(at)
        assert front == expected
