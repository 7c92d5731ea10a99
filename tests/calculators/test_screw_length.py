"""Screw length: ISO tables of threads and lengths, sums by hand, and mass by geometry and beside catalogues."""

from typing import Any, Final

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gramwatt import InvalidInput, calculate
from gramwatt.charts.chart_request import ChartRequest
from gramwatt.charts.row_charts import make_bars_of_table
from gramwatt.engine import registry
from gramwatt.engine.calculate import evaluate_request
from gramwatt.engine.response import build_response
from gramwatt.engine.sentences import build_sentence
from gramwatt.model import BarChart, Dimension, DrawingChart, Outline
from gramwatt.physics import screws

MOTOR: Final[dict[str, Any]] = {"layers": [{"name": "arm", "thickness": 5}], "thread": "M3", "thread_depth": 4}


def results(**inputs: Any) -> dict[str, Any]:
    found: dict[str, Any] = calculate("screw-length", **inputs)["results"]
    return found


def codes(**inputs: Any) -> set[str]:
    return {caution["code"] for caution in calculate("screw-length", **inputs)["cautions"]}


def find_row(length: float, **inputs: Any) -> dict[str, Any]:
    row: dict[str, Any] = next(row for row in results(**inputs)["by_length"] if row["length"] == length)
    return row


@pytest.mark.parametrize(
    ("thread", "pitch", "d2", "d1"),
    [
        # Published (as remembered): ISO 261 coarse pitch; ISO 724, basic dimensions d2 and D1 in mm.
        ("M1.6", 0.35, 1.373, 1.221),
        ("M2", 0.40, 1.740, 1.567),
        ("M2.5", 0.45, 2.208, 2.013),
        ("M3", 0.50, 2.675, 2.459),
        ("M4", 0.70, 3.545, 3.242),
        ("M5", 0.80, 4.480, 4.134),
        ("M6", 1.00, 5.350, 4.917),
    ],
)
def test_threads_of_the_iso_tables(thread: str, pitch: float, d2: float, d1: float) -> None:
    """Half a unit of the last printed digit, 0.0005 mm. Identities: d - 0.6495 P and d - 1.0825 P to 5e-5 P."""
    found = results(**{**MOTOR, "thread": thread})
    assert found["thread_pitch"] == pytest.approx(pitch, rel=1e-11)
    assert found["thread_diameter"] == pytest.approx(float(thread[1:]), rel=1e-11)
    assert found["pitch_diameter"] == pytest.approx(d2, abs=0.000501, rel=0)
    assert found["minor_diameter"] == pytest.approx(d1, abs=0.000501, rel=0)
    assert found["pitch_diameter"] == pytest.approx(float(thread[1:]) - 0.6495 * pitch, abs=5.1e-5 * pitch, rel=0)
    assert found["minor_diameter"] == pytest.approx(float(thread[1:]) - 1.0825 * pitch, abs=5.1e-5 * pitch, rel=0)


@pytest.mark.parametrize(
    ("head", "size", "row"),
    [
        # Golden: bd-warehouse 0.4.0, data/socket_head_cap_parameters.csv, iso4762: k, s, t, shortest, longest in mm.
        ("socket-cap", "M1.6", (1.6, 1.5, 0.7, 2.5, 16)),
        ("socket-cap", "M2", (2, 1.5, 1, 3, 20)),
        ("socket-cap", "M2.5", (2.5, 2, 1.1, 4, 25)),
        ("socket-cap", "M3", (3, 2.5, 1.3, 5, 30)),
        ("socket-cap", "M4", (4, 3, 2, 6, 40)),
        ("socket-cap", "M5", (5, 4, 2.5, 8, 50)),
        ("socket-cap", "M6", (6, 5, 3, None, 60)),  # it has 8 mm as the shortest; ISO 4762 (as remembered) 10 mm
        # Golden: the same, data/button_head_parameters.csv, iso7380_1; its s is that of a plug gauge, 0.08 mm wider.
        ("button", "M3", (1.65, None, 1.04, 6, 30)),
        ("button", "M4", (2.2, None, 1.3, 6, 40)),
        ("button", "M5", (2.75, None, 1.56, 8, 50)),
        ("button", "M6", (3.3, None, 2.08, 10, 60)),
        # Golden: the same, data/countersunk_head_parameters.csv, iso10642; s as above.
        ("countersunk", "M3", (1.7, None, 1.2, 8, 30)),
        ("countersunk", "M4", (2.3, None, 1.8, 8, None)),
        ("countersunk", "M5", (2.8, None, 2.3, 8, None)),
        ("countersunk", "M6", (3.3, None, 2.5, 8, None)),
    ],
)
def test_heads_beside_a_package_of_parts(head: str, size: str, row: tuple[float | None, ...]) -> None:
    at = screws.HEADS.index(head), screws.THREADS.index(size)
    tables = (screws.HEAD_HEIGHT, screws.SOCKET_WIDTH, screws.SOCKET_DEPTH, screws.SHORTEST, screws.LONGEST)
    for table, expected in zip(tables, row, strict=True):
        if expected is not None:
            assert 1000 * table[at] == pytest.approx(expected, rel=1e-12)


def test_lengths_of_iso_4762() -> None:
    """Golden: bd-warehouse 0.4.0, data/nominal_screw_lengths.csv, iso4762, up to 60 mm."""
    lengths = [2.5, 3, 4, 5, 6, 8, 10, 12, 16, 20, 25, 30, 35, 40, 45, 50, 55, 60]
    assert [row["length"] for row in results(**MOTOR)["by_length"]] == lengths


def test_a_motor_screw_by_hand() -> None:
    """By hand: arm 5 mm, thread 4 mm deep, windings 1.5 mm behind it; 1.0 d = 3 mm wanted.

    8 mm engages 3 mm, 6 turns, and leaves 2.5 mm; 10 mm engages the whole 4 mm, and leaves 0.5 mm, just enough.
    """
    inputs = {**MOTOR, "space_behind_thread": 1.5, "tapped_material": "steel"}
    found = results(**inputs)
    assert (found["minimum_length"], found["maximum_length"]) == (8, 10)
    assert (found["recommended_length"], found["longest_fitting_length"]) == (8, 10)
    assert (found["engagement"], found["engaged_turns"], found["engagement_ratio"]) == (3, 6, 1)
    assert found["tip_clearance"] == 2.5
    fits = {row["length"]: row["length_verdict"] for row in found["by_length"]}
    assert [fits[length] for length in (5, 6, 8, 10, 12)] == ["no-thread", "too-short", "fits", "fits", "touches"]
    ten = find_row(10, **inputs)
    assert (ten["engagement"], ten["engaged_turns"], ten["tip_clearance"]) == (4, 8, 0.5)
    assert ten["engagement_ratio"] == pytest.approx(4 / 3, rel=1e-11)


@pytest.mark.parametrize(
    ("keep", "fit"),
    [
        pytest.param(0.5, "fits", id="exactly-at-the-distance"),
        pytest.param(0.51, "too-close", id="a-hair-within-it"),
        pytest.param(0, "fits", id="no-distance-kept"),
    ],
)
def test_the_distance_to_keep_decides(keep: float, fit: str) -> None:
    inputs = {**MOTOR, "space_behind_thread": 1.5, "tapped_material": "steel", "minimum_tip_clearance": keep}
    assert find_row(10, **inputs)["length_verdict"] == fit


@pytest.mark.parametrize(
    ("layers", "fit"),
    [
        pytest.param([{"thickness": 0.1, "count": 60}], "fits", id="sixty-tenths-are-six"),
        pytest.param([{"thickness": 0.7}, {"thickness": 5.3}], "fits", id="sums-land-a-last-bit-off"),
        pytest.param([{"thickness": 6.001}], "too-short", id="a-micrometre-more"),
        pytest.param([{"thickness": 9}], "no-thread", id="the-layers-alone-take-it"),
    ],
)
def test_at_the_limit_exactly(layers: list[dict[str, Any]], fit: str) -> None:
    """By hand: 9 mm less 6 mm are the 3 mm wanted."""
    inputs = {"layers": layers, "thread": "M3", "thread_depth": 10, "minimum_engagement_ratio": 1, "other_lengths": [9]}
    assert find_row(9, **inputs)["length_verdict"] == fit


@pytest.mark.parametrize(
    ("material", "needed"),
    [("steel", 4), ("aluminium", 6), ("brass", 6), ("plastic", 10), ("nut", 12)],
)
def test_engagement_by_material(material: str, needed: float) -> None:
    """Rule of thumb, no source: 1.0, 1.5, 1.5 and 2.5 diameters of M4; the whole height of a nut."""
    answer = calculate(
        "screw-length", layers=[{"thickness": 3}], thread="M4", thread_depth=12, tapped_material=material
    )
    assert answer["results"]["minimum_engagement"] == pytest.approx(needed, rel=1e-11)
    assert answer["inputs"]["space_behind_thread"] == (10 if material == "nut" else 0)
    assert "minimum_engagement_ratio" in answer["assumed"]


def test_a_shallow_thread_is_used_whole() -> None:
    """By hand: 1.5 x 3 = 4.5 mm wanted, 3 mm there."""
    inputs = {**MOTOR, "thread_depth": 3, "space_behind_thread": 1}
    assert results(**inputs)["minimum_engagement"] == 3
    assert "shallow-thread" in codes(**inputs)


@given(
    st.sampled_from(screws.THREADS),
    st.lists(st.floats(0.2, 8), min_size=1, max_size=4),
    st.floats(1, 12),
    st.floats(0, 10),
    st.floats(0, 2),
)
def test_every_length_is_compared_at_its_two_ends(
    thread: str, layers: list[float], depth: float, space: float, keep: float
) -> None:
    """A length fits if and only if it is between the two limits; engagement and room follow from sums."""
    inputs = {"layers": [{"thickness": each} for each in layers], "thread": thread, "thread_depth": depth}
    found = results(**inputs, space_behind_thread=space, minimum_tip_clearance=keep)
    stack = sum(layers)
    for row in found["by_length"]:
        low, high = row["length"] - found["minimum_length"], found["maximum_length"] - row["length"]
        if min(abs(low), abs(high)) > 1e-6:
            assert (row["length_verdict"] == "fits") == (low > 0 and high > 0)
        assert row["engagement"] == pytest.approx(min(max(row["length"] - stack, 0), depth), rel=1e-9, abs=1e-9)
        assert row["tip_clearance"] == pytest.approx(stack + depth + space - row["length"], rel=1e-9, abs=1e-9)
    fitting = [row["length"] for row in found["by_length"] if row["length_verdict"] == "fits"]
    assert found["recommended_length"] == (min(fitting) if fitting else None)
    assert found["longest_fitting_length"] == (max(fitting) if fitting else None)


@settings(max_examples=30)
@given(st.floats(0.5, 10), st.floats(0.1, 5))
def test_a_thicker_stack_takes_a_longer_screw(thickness: float, more: float) -> None:
    """Monotonic; and a millimetre of washer moves both ends by a millimetre."""
    thin, thick = (
        results(layers=[{"thickness": each}], thread="M3", thread_depth=30) for each in (thickness, thickness + more)
    )
    assert thick["recommended_length"] >= thin["recommended_length"]
    for name in ("minimum_length", "maximum_length"):
        assert thick[name] - thin[name] == pytest.approx(more, rel=1e-9)


def test_mass_of_a_cap_screw_by_hand() -> None:
    """By hand, M3 x 10 in steel, largest dimensions: head pi/4 x 5.5^2 x 3 = 71.2749 mm3.

    Less the socket sqrt(3)/2 x 2.5^2 x 1.3 = 7.0364, and 10 mm of pi/4 x 2.675240^2 = 5.6210: 120.4485 mm3 x 7.85 mg x
    0.95 = 0.8982 g.
    """
    assert find_row(10, **MOTOR)["screw_mass"] == pytest.approx(0.8982, abs=0.00006, rel=0)


@pytest.mark.parametrize(
    ("thread", "length", "grams"),
    [
        # Published (as remembered): tables of DIN 912, mass in kg per 1000 pieces.
        ("M3", 6, 0.71),
        ("M3", 10, 0.88),
        ("M3", 16, 1.16),
        ("M3", 20, 1.36),
        ("M4", 10, 1.80),
        ("M4", 16, 2.25),
        ("M4", 20, 2.65),
    ],
)
def test_mass_of_cap_screws_in_catalogues(thread: str, length: float, grams: float) -> None:
    """Within 6 %, two standard deviations of what is stated."""
    mass = find_row(length, **{**MOTOR, "thread": thread})["screw_mass"]
    assert mass == pytest.approx(grams, rel=0.06)


def test_the_factor_of_mass_follows_from_the_tolerances() -> None:
    """By hand, M3 x 10: means of dk 5.32..5.5, k 2.86..3.0 (h13), d2 2.580..2.655 (6g), from memory: 0.948."""
    head = np.pi / 4 * 5.41**2 * 2.93 - 3**0.5 / 2 * 2.5**2 * 1.3
    mean = head + 10 * np.pi / 4 * 2.6175**2
    largest = screws.screw_volume(np.array([0]), np.array([3]), np.array([[0.010]]))[0, 0] * 1e9
    assert mean / largest == pytest.approx(screws.MASS_FACTOR, rel=0.005)


@pytest.mark.parametrize(
    ("head", "expected"),
    [
        # By hand, M4, in mm3: spherical cap pi 2.2 (3 x 3.8^2 + 2.2^2) / 6 = 55.475, socket sqrt(3)/2 x 2.5^2 x 1.3 =
        # 7.036, 16 mm of pi/4 x 3.545337^2 = 9.8720: 206.391.
        pytest.param("button", 206.391, id="button"),
        # By hand: cone pi x 2 (4^2 + 4 x 2 + 2^2) / 3 = 58.643, rim pi 4^2 x 0.3 = 15.080, socket sqrt(3)/2 x 2.5^2 x
        # 1.8 = 9.743, 13.7 mm of 9.8720: 199.226.
        pytest.param("countersunk", 199.226, id="countersunk"),
    ],
)
def test_mass_of_other_heads_by_hand(head: str, expected: float) -> None:
    mass = find_row(16, **{**MOTOR, "thread": "M4", "head": head})["screw_mass"]
    assert mass == pytest.approx(expected * 7.85e-3 * 0.95, rel=2e-5)


@pytest.mark.parametrize("table", [screws.HEAD_DIAMETER, screws.HEAD_HEIGHT, screws.SOCKET_WIDTH, screws.SOCKET_DEPTH])
def test_heads_without_a_standard_are_scaled_from_m3(table: Any) -> None:
    """By hand: d / 3 mm times that of M3, to a hundredth of a millimetre."""
    for head in (screws.HEADS.index("button"), screws.HEADS.index("countersunk")):
        scaled = table[head, 3] * screws.DIAMETER[:3] / screws.DIAMETER[3]
        assert table[head, :3] == pytest.approx(scaled, abs=5.1e-6, rel=0)


def test_other_materials_by_density() -> None:
    """By hand: 16 screws; 4430 / 7850 and 2810 / 7850 of the mass in steel."""
    found = results(**MOTOR, space_behind_thread=3, screws=16)
    rows = {row["material"]: row for row in found["by_material"]}
    steel = found["total_screw_mass"]
    assert steel == pytest.approx(16 * found["screw_mass"], rel=1e-11)
    assert rows["steel"]["mass_change"] == pytest.approx(0, abs=1e-12)
    assert rows["titanium"]["total_screw_mass"] == pytest.approx(steel * 4430 / 7850, rel=1e-11)
    assert rows["aluminium"]["mass_change"] == pytest.approx(steel * (2810 / 7850 - 1), rel=1e-9)
    titanium = results(**MOTOR, space_behind_thread=3, screws=16, screw_material="titanium")
    assert titanium["total_screw_mass"] == pytest.approx(rows["titanium"]["total_screw_mass"], rel=1e-11)


def test_mass_grows_by_the_rod_of_the_pitch_diameter() -> None:
    """A scaling law: from 20 to 40 mm as much as from 40 to 60 mm."""
    rows = {row["length"]: row["screw_mass"] for row in results(**MOTOR)["by_length"]}
    assert rows[60] - rows[40] == pytest.approx(rows[40] - rows[20], rel=1e-9)
    assert rows[60] - rows[40] == pytest.approx(20 * np.pi / 4 * 2.67524**2 * 7.85e-3 * 0.95, rel=1e-6)


def test_the_mass_has_an_uncertainty() -> None:
    answer = calculate("screw-length", **MOTOR, space_behind_thread=3)
    mass = answer["uncertainty"]["screw_mass"]
    assert mass["standard"] == pytest.approx(0.03 * answer["results"]["screw_mass"], rel=0.02)
    assert answer["uncertainty"]["engagement"]["standard"] == 0, "all lengths are exact"


@pytest.mark.parametrize(
    ("inputs", "text", "verdict"),
    [
        pytest.param({"space_behind_thread": 3}, "M3 × 10 mm, but the thread is shallow", "close", id="shallow"),
        pytest.param({"thread_depth": 6}, "M3 × 10 mm fits", "good", id="fits"),
        pytest.param({"thread_depth": 4.4, "minimum_tip_clearance": 1}, "No screw fits", "bad", id="no-room"),
        pytest.param({"layers": [{"thickness": 5.2}], "tapped_material": "steel"}, "No standard", "bad", id="gap"),
    ],
)
def test_the_headline(inputs: dict[str, Any], text: str, verdict: str) -> None:
    """By hand: 9 to 11.5 mm; 9.5 to 10.5 mm; 9.4 to 8.4 mm; 8.2 to 8.7 mm."""
    outcome = evaluate_request(registry.get("screw-length"), {**MOTOR, **inputs})
    sentence = build_sentence(outcome, 0, build_response(outcome, 0))
    assert sentence is not None
    assert sentence.text.startswith(text)
    assert sentence.verdict == verdict


SPACE: Final = {"space_behind_thread": 9}


def draw(**inputs: Any) -> list[Outline | Dimension]:
    outcome = evaluate_request(registry.get("screw-length"), {**MOTOR, **inputs})
    drawing = registry.get("screw-length").charts[0]
    assert isinstance(drawing, DrawingChart)
    return list(drawing.trace(outcome.inputs, outcome.results))


def test_the_section_is_to_scale() -> None:
    """By hand: the tip of a screw of 10 mm is 10 mm below the surface, the limit 5 + 6 + 2 mm."""
    shapes = {shape.name: shape for shape in draw(thread_depth=6, space_behind_thread=2) if isinstance(shape, Outline)}
    assert 1000 * shapes["M3 screw"].y.min() == pytest.approx(-10, rel=1e-9)
    assert 1000 * np.ptp(shapes["M3 screw"].x) == pytest.approx(3, rel=1e-9)
    assert 1000 * shapes["what is behind"].y[0] == pytest.approx(-13, rel=1e-9)
    assert 1000 * shapes["arm"].y.min() == pytest.approx(-5, rel=1e-9)
    assert 1000 * shapes["tapped aluminium"].y.min() == pytest.approx(-11, rel=1e-9)


def test_bars_have_the_names_of_materials_as_pages_do() -> None:
    outcome = evaluate_request(registry.get("screw-length"), {**MOTOR, "thread_depth": 6})
    request = ChartRequest(outcome.calculator, {}, False, outcome, build_response(outcome, 0))
    spec = outcome.calculator.charts[1]
    assert isinstance(spec, BarChart)
    bars = make_bars_of_table(request, spec)
    assert bars is not None
    assert bars[0].names == ("steel", "stainless steel", "titanium", "aluminium")


def test_nothing_is_drawn_behind_a_nut_unless_it_is_given() -> None:
    nut = {"tapped_material": "nut", "thread_depth": 2.4}
    limits = [[shape for shape in draw(**nut, **more) if getattr(shape, "role", "") == "limit"] for more in ({}, SPACE)]
    assert [len(each) for each in limits] == [0, 1]


@pytest.mark.parametrize("head", screws.HEADS)
def test_a_countersunk_head_is_flush(head: str) -> None:
    tops = [1000 * shape.y.max() for shape in draw(head=head, thread_depth=6) if isinstance(shape, Outline)]
    # By hand: k of ISO 4762 and ISO 7380-1 for M3.
    assert max(tops) == pytest.approx({"socket-cap": 3, "button": 1.65, "countersunk": 0}[head], rel=0.01, abs=1e-9)


def test_the_nearest_length_is_drawn_where_none_fits() -> None:
    named = {
        shape.name: shape for shape in draw(thread_depth=4.4, minimum_tip_clearance=1) if isinstance(shape, Outline)
    }
    assert named["M3 screw, touches what is behind"].role == "bad"
    assert "end of the thread" in named


CAUTIONS: Final[dict[str, tuple[dict[str, Any], dict[str, Any]]]] = {
    # code: inputs that bring it, inputs that do not
    "shallow-thread": ({**MOTOR, "thread_depth": 4.4}, {**MOTOR, "thread_depth": 4.5}),
    "engagement-assumed": (MOTOR, {**MOTOR, "minimum_engagement_ratio": 1.5}),
    "blind-hole-assumed": (MOTOR, {**MOTOR, "space_behind_thread": 0}),
    # ISO 4762 (as remembered): M3 from 5 to 30 mm.
    "length-not-in-standard": (
        {**MOTOR, "layers": [{"thickness": 28}], "thread_depth": 8},
        {**MOTOR, "layers": [{"thickness": 25}], "thread_depth": 8},
    ),
    # ISO 7380-1 (as remembered) begins with M3.
    "head-not-in-standard": ({**MOTOR, "thread": "M2.5", "head": "button"}, {**MOTOR, "head": "button"}),
    # By hand: k = 1.7 mm of M3.
    "head-not-sunk": (
        {**MOTOR, "head": "countersunk", "layers": [{"thickness": 1.6}, {"thickness": 4}]},
        {**MOTOR, "head": "countersunk", "layers": [{"thickness": 1.7}, {"thickness": 4}]},
    ),
    "aluminium-screws": ({**MOTOR, "screw_material": "aluminium"}, {**MOTOR, "screw_material": "titanium"}),
}


@pytest.mark.parametrize("code", CAUTIONS)
def test_caution_is_shown_when_it_holds_and_not_otherwise(code: str) -> None:
    shown, absent = CAUTIONS[code]
    assert code in codes(**shown)
    assert code not in codes(**absent)


@pytest.mark.parametrize(
    ("inputs", "code", "missing"),
    [
        pytest.param(
            {"thread_depth": 4.4, "minimum_tip_clearance": 1}, "no-length-fits", "recommended_length", id="none-fits"
        ),
        pytest.param(
            {"thread_depth": 4.4, "minimum_tip_clearance": 1},
            "nothing-to-weigh",
            "/by_material/2/total_screw_mass",
            id="no-material",
        ),
    ],
)
def test_what_has_no_answer_says_why(inputs: dict[str, Any], code: str, missing: str) -> None:
    answer = calculate("screw-length", **{**MOTOR, **inputs})
    assert missing.startswith("/") or answer["results"][missing] is None
    assert code in [caution["code"] for caution in answer["cautions"] if missing in caution.get("results", ())]


def test_a_length_shorter_than_its_head_counts_as_the_head() -> None:
    """A limit case, k = 2.8 mm of a countersunk M5: no screw is so short, and the standard has none below 8 mm."""
    rows = [find_row(length, **{**MOTOR, "thread": "M5", "head": "countersunk"}) for length in (2.5, 3, 6)]
    assert rows[0]["screw_mass"] < rows[1]["screw_mass"] < rows[2]["screw_mass"]
    assert [row["is_standard"] for row in rows] == [False] * 3


def test_motor_windings_come_first() -> None:
    assert {"motor-windings", "torque-and-thread-locker"} <= codes(**MOTOR)


@pytest.mark.parametrize(
    ("inputs", "pointer"),
    [
        pytest.param({"thread": "M3", "thread_depth": 4}, "/layers", id="no-layers"),
        pytest.param({**MOTOR, "thread": "m3"}, "/thread", id="unknown-thread"),
        pytest.param({**MOTOR, "layers": [{"thickness": 0}]}, "/layers/0/thickness", id="no-thickness"),
        pytest.param({**MOTOR, "other_lengths": ["7 ± 0.1 mm"]}, "/other_lengths/0", id="uncertain-length"),
    ],
)
def test_bad_input_names_the_field(inputs: dict[str, Any], pointer: str) -> None:
    with pytest.raises(InvalidInput) as raised:
        calculate("screw-length", **inputs)
    assert pointer in [error.pointer for error in raised.value.errors]
