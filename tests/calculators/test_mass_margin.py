"""The mass margin: what two rules say of one mass, what a scale leaves open, and every conditional caution."""

import math
import re
from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gramwatt import calculate
from gramwatt.engine import registry
from gramwatt.physics import weighing


def results(**inputs: Any) -> dict[str, Any]:
    found: dict[str, Any] = calculate("mass-margin", **inputs)["results"]
    return found


def codes(**inputs: Any) -> set[str]:
    return {caution["code"] for caution in calculate("mass-margin", **inputs)["cautions"]}


def test_limit_of_the_united_states_in_grams() -> None:
    """Published: NIST SP 811, appendix B.8, 1 lb = 453.59237 g exactly; by hand: x 0.55 = 249.4758035 g."""
    answer = calculate("mass-margin", masses=[200], rule="us-registration")
    assert answer["inputs"]["mass_limit"] == pytest.approx(249.4758035, rel=1e-9)
    assert answer["results"]["mass_margin"] == pytest.approx(49.4758035, rel=1e-9)


@pytest.mark.parametrize(
    ("mass", "rule", "verdict"),
    [
        # 249.6 g is above 0.55 lb = 249.476 g and below 250 g: one craft, two answers.
        pytest.param("249.6 g", "us-registration", "over", id="249.6-g-in-the-united-states"),
        pytest.param("249.6 g", "eu-a1-privately-built", "under", id="249.6-g-in-the-european-union"),
        # 14 CFR 48.15(b) says 0.55 pounds or less: the limit itself is still allowed.
        pytest.param("0.55 lb", "us-registration", "under", id="0.55-lb-is-allowed"),
        pytest.param("249.47581 g", "us-registration", "over", id="a-hair-above-0.55-lb"),
        # (EU) 2019/947, UAS.OPEN.020(5)(a), says less than 250 g: the limit itself is not.
        pytest.param("250 g", "eu-a1-privately-built", "over", id="250-g-is-not-less-than-250-g"),
        pytest.param("249.9999 g", "eu-a1-privately-built", "under", id="a-hair-below-250-g"),
        # Art. 14: the operator registers for 250 g or more.
        pytest.param("250 g", "eu-registration", "over", id="250-g-registers"),
        pytest.param("249.9999 g", "eu-registration", "under", id="a-hair-below-250-g-does-not"),
        # UAS.OPEN.040(4)(a): less than 25 kg.
        pytest.param("25 kg", "eu-a3-privately-built", "over", id="25-kg-is-not-less-than-25-kg"),
        pytest.param("24.9999 kg", "eu-a3-privately-built", "under", id="a-hair-below-25-kg"),
    ],
)
def test_two_rules(mass: str, rule: str, verdict: str) -> None:
    """Resolution 0: no uncertainty, so the comparison alone decides."""
    found = results(masses=[mass], rule=rule, scale_resolution=0)
    assert found["verdict"] == verdict
    assert found["expanded_mass_uncertainty"] == 0
    assert found["probability_under_limit"] == (100 if verdict == "under" else 0)


@pytest.mark.parametrize(
    ("comparison", "verdict"),
    [
        pytest.param("below", "over", id="below-leaves-the-limit-out"),
        pytest.param("at-most", "under", id="at-most-lets-it-in"),
    ],
)
@pytest.mark.parametrize(
    "masses",
    [
        pytest.param([100, 150], id="whole-grams"),
        pytest.param([0.1, 0.2, 249.7], id="sums-of-decimals-land-a-last-bit-off"),
        pytest.param(["8.818490487395103 oz"], id="250-g-in-ounces"),
    ],
)
def test_at_the_limit_exactly_the_comparison_decides(masses: list[Any], comparison: str, verdict: str) -> None:
    found = results(masses=masses, mass_limit=250, limit_comparison=comparison, scale_resolution=0)
    assert found["mass_margin"] == 0
    assert found["verdict"] == verdict


@pytest.mark.parametrize(
    ("mass", "expected"),
    [
        # Published: table of the normal distribution, Phi(1.00) = 0.8413, Phi(1.96) = 0.9750, Phi(-1.00) = 0.1587.
        pytest.param("249.9 ± 0.1 g", 84.13, id="one-standard-uncertainty-below"),
        pytest.param("249.804 ± 0.1 g", 97.50, id="1.96-below"),
        pytest.param("250.1 ± 0.1 g", 15.87, id="one-above"),
        pytest.param("250 ± 0.1 g", 50.00, id="at-the-limit"),
    ],
)
def test_probability_under(mass: str, expected: float) -> None:
    """Half a unit of the last printed digit, 0.005 %."""
    found = results(masses=[mass], mass_limit=250, scale_resolution=0)
    assert found["probability_under_limit"] == pytest.approx(expected, abs=0.005 * (1 + 1e-6), rel=0)


@pytest.mark.parametrize(
    ("inputs", "expected"),
    [
        # By hand, d = 0.1 g, U = 2 d sqrt(sum of squared counts / 12):
        pytest.param({"parts": [{"mass": 11.1, "count": 4}]}, 0.2 * math.sqrt(16 / 12), id="one-reading-times-four"),
        pytest.param({"parts": [{"mass": 11.1}] * 4}, 0.2 * math.sqrt(4 / 12), id="four-readings"),
        pytest.param({"masses": [11.1] * 4}, 0.2 * math.sqrt(4 / 12), id="four-bare-masses"),
        pytest.param(
            {"parts": [{"mass": 11.1, "count": 4}], "weighing_method": "together"},
            0.2 * math.sqrt(1 / 12),
            id="all-in-one-go",
        ),
        pytest.param(
            {"parts": [{"mass": 11.1}] * 4, "weighing_method": "together"}, 0.2 * math.sqrt(1 / 12), id="rows-in-one-go"
        ),
        # By hand: the stated u adds in quadrature: 2 sqrt(4 x 0.01/12 + 4 x 0.03^2) in all.
        pytest.param(
            {"masses": ["11.1 ± 0.03 g"] * 4}, 2 * math.sqrt(0.04 / 12 + 4 * 0.03**2), id="stated-uncertainty-added"
        ),
        pytest.param(
            {"parts": [{"mass": 11.1, "mass_u": 0.03, "count": 4}]},
            2 * math.sqrt(0.16 / 12 + (4 * 0.03) ** 2),
            id="stated-in-a-column-and-counted",
        ),
    ],
)
def test_expanded_uncertainty(inputs: dict[str, Any], expected: float) -> None:
    """By hand after JCGM 100:2008, 4.3.7 and 6.2.1. The total is 44.4 g either way."""
    found = results(**inputs, scale_resolution=0.1)
    assert found["total_mass"] == pytest.approx(44.4, rel=1e-11)
    assert found["expanded_mass_uncertainty"] == pytest.approx(expected, rel=1e-11)


@pytest.mark.parametrize("readings", ["each", "together"])
@pytest.mark.parametrize("u", [0, 0.3])
def test_the_uncertainty_of_the_total_is_half_the_expanded_one(readings: str, u: float) -> None:
    """JCGM 100:2008, 6.2.1: U = 2 u. The draws and the law of propagation agree to 1 %, for the margin as well."""
    answer = calculate(
        "mass-margin",
        parts=[{"mass": 20, "count": 4, "mass_u": u}, {"mass": 31}, {"mass": 62.5}],
        masses=[17.5],
        scale_resolution=0.5,
        weighing_method=readings,
    )
    for name in ("total_mass", "mass_margin"):
        standard = answer["uncertainty"][name]["standard"]
        assert 2 * standard == pytest.approx(answer["results"]["expanded_mass_uncertainty"], rel=0.01)


@pytest.mark.parametrize("readings", ["each", "together"])
def test_one_reading_is_even_over_one_step(readings: str) -> None:
    """By hand: 95 % of an even distribution of width d lie within 0.475 d of its middle, here 0.19 g."""
    total = calculate("mass-margin", masses=[100], scale_resolution=0.4, weighing_method=readings)["uncertainty"][
        "total_mass"
    ]
    assert (total["low"], total["high"]) == pytest.approx((99.81, 100.19), abs=0.002, rel=0)


def test_a_probability_has_no_uncertainty() -> None:
    """It is itself a statement about one, and so is the expanded uncertainty."""
    answer = calculate("mass-margin", masses=["249 ± 1 g"], mass_limit=250)
    assert set(answer["uncertainty"]) == {"mass_margin", "total_mass", "running_total_mass", "mass_share_by_part"}


def test_masses_are_added_to_parts() -> None:
    """By hand: 10 + 2 x 5 + 3 + 7 = 30 g; running 10, 20, 23, 30; shares in thirds and tenths of it."""
    found = results(parts=[{"mass": 10}, {"mass": 5, "count": 2}], masses=[3, 7], mass_limit=100)
    assert found["total_mass"] == 30
    assert found["running_total_mass"] == [10, 20, 23, 30]
    assert found["mass_share_by_part"] == pytest.approx([100 / 3, 100 / 3, 10, 70 / 3], rel=1e-11)
    assert found["mass_margin"] == 70


def test_the_limit_is_250_g_unless_given() -> None:
    answer = calculate("mass-margin", masses=[100], scale_resolution=0)
    assert answer["results"]["mass_margin"] == 150
    assert (answer["inputs"]["mass_limit"], answer["inputs"]["limit_comparison"]) == (250, "below")
    assert {"mass_limit", "limit_comparison"} <= set(answer["assumed"])


@pytest.mark.parametrize(
    ("mass", "verdict"),
    [
        # By hand: one reading with d = 1 g: U = 2/sqrt(12) = 0.5774 g.
        pytest.param(249.4, "under", id="0.6-g-below"),
        pytest.param(249.5, "too-close-to-call", id="0.5-g-below"),
        pytest.param(250.5, "too-close-to-call", id="0.5-g-above"),
        pytest.param(250.6, "over", id="0.6-g-above"),
    ],
)
def test_verdict_with_a_coarse_scale(mass: float, verdict: str) -> None:
    assert results(masses=[mass], mass_limit=250)["verdict"] == verdict


@given(st.lists(st.floats(0.1, 1000.0), min_size=1, max_size=20), st.floats(1.01, 2.0))
def test_more_mass_less_margin_less_probability(masses: list[float], factor: float) -> None:
    """Monotonic; and limit = margin + total whatever the masses, shares sum to all."""
    found = results(masses=masses, mass_limit=250)
    heavier = results(masses=[mass * factor for mass in masses], mass_limit=250)
    assert heavier["mass_margin"] < found["mass_margin"]
    assert heavier["probability_under_limit"] <= found["probability_under_limit"]
    assert found["mass_margin"] + found["total_mass"] == pytest.approx(250, rel=1e-9)
    assert sum(found["mass_share_by_part"]) == pytest.approx(100, rel=1e-9)
    assert found["running_total_mass"][-1] == pytest.approx(found["total_mass"], rel=1e-11)


@given(st.lists(st.floats(0.1, 100.0), min_size=2, max_size=10), st.randoms(use_true_random=False))
def test_order_does_not_matter(masses: list[float], random: Any) -> None:
    shuffled = list(masses)
    random.shuffle(shuffled)
    one, other = results(masses=masses), results(masses=shuffled)
    assert one["total_mass"] == pytest.approx(other["total_mass"], rel=1e-11)
    assert one["expanded_mass_uncertainty"] == pytest.approx(other["expanded_mass_uncertainty"], rel=1e-11)


def test_nothing_weighed() -> None:
    """Limit: a total of zero has no shares, and says so."""
    answer = calculate("mass-margin", masses=[0, 0], mass_limit=250)
    assert answer["results"]["total_mass"] == 0
    assert answer["results"]["mass_share_by_part"] is None
    assert [c["results"] for c in answer["cautions"] if c["code"] == "nothing-weighed"] == [["mass_share_by_part"]]


CAUTIONS: Final[dict[str, tuple[dict[str, Any], dict[str, Any]]]] = {
    # code: inputs that bring it, inputs that do not
    "rule-sets-limit": (
        {"masses": [100], "rule": "eu-a1-privately-built", "mass_limit": 300},
        {"masses": [100], "rule": "eu-a1-privately-built", "mass_limit": 250, "limit_comparison": "below"},
    ),
    "us-registration": ({"masses": [100], "rule": "us-registration"}, {"masses": [100], "rule": "eu-registration"}),
    "eu-registration": ({"masses": [100], "rule": "eu-registration"}, {"masses": [100], "rule": "us-registration"}),
    "eu-a1-privately-built": (
        {"masses": [100], "rule": "eu-a1-privately-built"},
        {"masses": [100], "rule": "eu-a3-privately-built"},
    ),
    "eu-a3-privately-built": (
        {"masses": [100], "rule": "eu-a3-privately-built"},
        {"masses": [100], "rule": "eu-a1-privately-built"},
    ),
    "no-class-label": ({"masses": [100], "rule": "eu-registration"}, {"masses": [100], "rule": "us-registration"}),
    "above-a1-speed": (
        {"masses": [100], "rule": "eu-a1-privately-built", "maximum_speed": 19},
        {"masses": [100], "rule": "eu-a1-privately-built", "maximum_speed": 18.99},
    ),
    # By hand: sqrt(2 x 80 J / 0.249 kg) = 25.349 m/s.
    "energy-requires-registration": (
        {"masses": [249], "rule": "eu-registration", "maximum_speed": 25.35},
        {"masses": [249], "rule": "eu-registration", "maximum_speed": 25.34},
    ),
    "too-close-to-call": ({"masses": [249.9], "mass_limit": 250}, {"masses": [249.0], "mass_limit": 250}),
    "limit-assumed": ({"masses": [100]}, {"masses": [100], "mass_limit": 250}),
}


@pytest.mark.parametrize("code", CAUTIONS)
def test_caution_is_shown_when_it_holds_and_not_otherwise(code: str) -> None:
    shown, absent = CAUTIONS[code]
    assert code in codes(**shown)
    assert code not in codes(**absent)


def test_every_conditional_caution_has_a_case() -> None:
    conditional = {c.code for c in registry.load()["mass-margin"].cautions if not c.is_always_shown}
    assert conditional == set(CAUTIONS)


@pytest.mark.parametrize(
    ("limit", "comparison", "shown"),
    [
        pytest.param(250, "below", False, id="the-rule-s-own"),
        pytest.param(250.002, "below", False, id="to-a-hundred-thousandth"),
        pytest.param(250.01, "below", True, id="another-limit"),
        pytest.param(250, "at-most", True, id="another-comparison"),
    ],
)
def test_a_limit_beside_a_rule_is_unused_where_it_differs(limit: float, comparison: str, shown: bool) -> None:
    found = codes(masses=[100], rule="eu-a1-privately-built", mass_limit=limit, limit_comparison=comparison)
    assert ("rule-sets-limit" in found) is shown


@pytest.mark.parametrize(
    "limit",
    [pytest.param("0.55 lb", id="the-same-limit-in-its-own-unit"), pytest.param("249.4758035 g", id="in-grams")],
)
def test_a_limit_equal_to_the_rules_own_is_not_called_unused(limit: str) -> None:
    assert "rule-sets-limit" not in codes(masses=[100], rule="us-registration", mass_limit=limit)


def test_a_named_rule_prevails_over_the_limit_given() -> None:
    """By definition: eu-a1-privately-built is 250 g below, whatever else was sent."""
    found = results(
        masses=[260], rule="eu-a1-privately-built", mass_limit=300, limit_comparison="at-most", scale_resolution=0
    )
    assert (found["mass_margin"], found["verdict"]) == (-10, "over")


@pytest.mark.parametrize("rule", ["us-registration", "eu-a1-privately-built", "custom"])
def test_the_energy_registers_in_the_union_alone(rule: str) -> None:
    found = calculate("mass-margin", masses=[249], rule=rule, maximum_speed=40)
    assert found["results"]["kinetic_energy"] == pytest.approx(199.2, rel=1e-9), "by hand: 0.249 x 40^2 / 2"
    assert "energy-requires-registration" not in {caution["code"] for caution in found["cautions"]}


@pytest.mark.parametrize("rule", weighing.RULES[1:])
def test_each_rule_names_its_text(rule: str) -> None:
    """The response itself says what the limit is a limit of, and where that is written."""
    answer = calculate("mass-margin", masses=[100], rule=rule)
    text = next(caution["text"] for caution in answer["cautions"] if caution["code"] == rule)
    assert re.match(r"14 CFR 48\.15\(b\)|\(EU\) 2019/947, (Art\. 14|UAS\.OPEN\.0[24]0)", text)


def test_always_sends_people_to_their_authority() -> None:
    assert {"check-authority", "all-on-board"} <= codes(masses=[100])
