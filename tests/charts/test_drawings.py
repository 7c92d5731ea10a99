"""Tests of drawings: they are to scale, and every name and dimension is beside what it is about."""

from __future__ import annotations

import dataclasses
import re
import xml.etree.ElementTree as ET
from typing import Any

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon

from charts.invented_drawings import CALCULATOR, FRAME, PLAN, SCREW, box, circle
from charts.overlaps import find_overlaps
from charts.svg_checks import check_svg
from gramwatt.charts import draw
from gramwatt.charts.calculator_charts import make_chart
from gramwatt.charts.chart_data import Arrow, ChartData, Drawing, Shape
from gramwatt.charts.chart_request import ChartRequest
from gramwatt.charts.drawing_charts import MAX_LABELS
from gramwatt.charts.label_places import CELL, LabelGrid, Target
from gramwatt.charts.preview import preview
from gramwatt.charts.sizes import DRAWING_SIDE, MAX_DRAWING_HEIGHT, drawing_box
from gramwatt.charts.themes import DARK, LIGHT, SHAPES, ChartStyle
from gramwatt.engine.calculate import evaluate_request
from gramwatt.engine.response import build_response
from gramwatt.model import AnyChart, DeclarationError, DrawingChart, Outline

SVG = "{http://www.w3.org/2000/svg}"
every_shape = pytest.mark.parametrize("shape", SHAPES)
every_chart = pytest.mark.parametrize("spec", CALCULATOR.charts, ids=lambda spec: spec.name)


def make_request(stack: float, units: dict[str, str] | None = None) -> ChartRequest:
    inputs = {"stack": stack}
    outcome = evaluate_request(CALCULATOR, inputs, result_units=units)
    return ChartRequest(CALCULATOR, inputs, False, outcome, build_response(outcome, 0, result_units=units))


def chart_of(spec: AnyChart, stack: float = 7, units: dict[str, str] | None = None) -> ChartData:
    chart = make_chart(make_request(stack, units), spec)
    assert chart is not None
    return chart


def drawing_of(spec: AnyChart, stack: float = 7, units: dict[str, str] | None = None) -> Drawing:
    body = chart_of(spec, stack, units).body
    assert isinstance(body, Drawing)
    return body


def wrap(*shapes: Shape, arrows: tuple[Arrow, ...] = (), **options: Any) -> ChartData:
    """Return a chart of shapes within a square from 0 to 10."""
    return ChartData("A title", "", "None.", Drawing(shapes, arrows, (0.0, 10.0, 0.0, 10.0), **options))


def make_shape(x: Any, y: Any, label: str = "", role: str = "body", *, filled: bool = False) -> Shape:
    return Shape(np.asarray(x, float), np.asarray(y, float), role, label, len(x) > 2, filled, False)


@every_chart
@every_shape
@pytest.mark.parametrize("stack", [2.1, 7, 60])
def test_no_text_lies_on_a_line_on_a_text_or_beyond_the_edge(spec: AnyChart, shape: str, stack: float) -> None:
    chart = chart_of(spec, stack)
    assert find_overlaps(chart, ChartStyle(shape=shape)) == []
    written = draw.as_svg(chart, ChartStyle(shape=shape)).decode()
    body = drawing_of(spec, stack)
    for label in [shape.label for shape in body.shapes] + [arrow.label for arrow in body.arrows]:
        assert not label or f">{label}<" in written, "whole"


@every_chart
@every_shape
def test_it_is_drawn_in_every_format(spec: AnyChart, shape: str) -> None:
    chart = chart_of(spec)
    check_svg(chart, ChartStyle(shape=shape))
    check_svg(chart, ChartStyle("dark", shape, "clear"))
    png = draw.as_png(chart, ChartStyle("dark", shape, "clear"))
    assert int.from_bytes(png[16:20], "big") == round(SHAPES[shape] * draw.PIXELS_PER_INCH)
    assert chart.title.encode() in png
    assert chart.as_text().decode() == f"{chart.title}\n{chart.description}\n"


def test_the_dark_counterparts_of_verdicts_are_in_the_style_sheet() -> None:
    written = draw.as_svg(chart_of(FRAME), ChartStyle(theme="auto")).decode()
    for role in ("good", "close", "bad"):
        light, dark = getattr(LIGHT, role), getattr(DARK, role)
        for name in ("stroke", "fill"):
            assert f'[{name}="{light}"]{{{name}:{dark}}}' in written


@every_shape
def test_lengths_have_the_same_scale_both_ways(shape: str) -> None:
    """A circle is a circle, and the plate is 12 mm by 2 mm as declared in the calculator's trace."""
    (axes,) = draw.make_figure(chart_of(PLAN), ChartStyle(shape=shape)).axes
    discs = [patch for patch in axes.patches if isinstance(patch, Polygon) and len(patch.get_xy()) > 60]
    assert len(discs) == 4
    for disc in discs:
        width, height = np.ptp(axes.transData.transform(disc.get_xy()), axis=0)
        assert width == pytest.approx(height, rel=2e-3), "of a circle of 90 points: 1 - cos(2 degrees) at most"
    (axes,) = draw.make_figure(chart_of(SCREW), ChartStyle(shape=shape)).axes
    plate = axes.patches[0]
    assert isinstance(plate, Polygon)
    width, height = np.ptp(axes.transData.transform(plate.get_xy()), axis=0)
    assert width / height == pytest.approx(12 / 2, rel=1e-9)


@every_shape
def test_a_drawing_of_any_size_has_the_same_picture(shape: str) -> None:
    """A thousand times as large, apart from the values."""
    body = drawing_of(FRAME)
    large = dataclasses.replace(
        body,
        shapes=tuple(dataclasses.replace(each, x=1000 * each.x, y=1000 * each.y) for each in body.shapes),
        arrows=tuple(
            dataclasses.replace(each, start=(0.0, 1000 * each.start[1]), end=(0.0, 1000 * each.end[1]))
            for each in body.arrows
        ),
        window=(-2400.0, 2400.0, -1600.0, 1600.0),
    )
    chart = chart_of(FRAME)
    style = ChartStyle(shape=shape)
    assert draw.as_svg(dataclasses.replace(chart, body=large), style) == draw.as_svg(chart, style)


@every_shape
@pytest.mark.parametrize("size", [(1.0, 30.0), (30.0, 1.0), (1.0, 1.0)])
def test_the_scale_is_the_largest_that_fits(shape: str, size: tuple[float, float]) -> None:
    drawing = Drawing((), (), (0.0, size[0], 0.0, size[1]))
    scale, width, height = drawing_box(drawing, shape)
    assert (width, height) == pytest.approx((scale * size[0], scale * size[1]), rel=1e-12)
    room = SHAPES[shape] - 2 * DRAWING_SIDE[shape]
    assert max(width / room, height / MAX_DRAWING_HEIGHT[shape]) == pytest.approx(1, rel=1e-12)


def test_dimensions_have_values_in_the_unit_of_the_response() -> None:
    """A stack of 7 mm on a plate of 2 mm; the gap of the frame shows a value of its own."""
    assert [arrow.label for arrow in drawing_of(SCREW).arrows] == ["stack 7 mm", "plate 2 mm"]
    assert [arrow.label for arrow in drawing_of(PLAN).arrows] == ["156 mm"], "2 x 78"
    assert [arrow.label for arrow in drawing_of(FRAME).arrows] == ["gap 7 mm"]
    assert [arrow.label for arrow in drawing_of(FRAME, units={"rest": "cm"}).arrows] == ["gap 0.7 cm"]
    in_inches = dataclasses.replace(SCREW, measure="rest")
    drawing = drawing_of(in_inches, 25.4, {"rest": "in"})
    assert drawing.arrows[0].label == "stack 1 in"
    assert drawing.shapes[1].y.max() == pytest.approx(1, rel=1e-12)


def test_the_line_of_a_dimension_is_away_from_its_points() -> None:
    """To the left when looking from start to end: upwards that is towards smaller x."""
    (stack, plate) = drawing_of(SCREW).arrows
    assert np.array(stack.ends) == pytest.approx(np.array([(7.5, 0), (7.5, 7)]), abs=1e-12)
    assert np.array(plate.ends) == pytest.approx(np.array([(-7.5, 0), (-7.5, 2)]), abs=1e-12)
    assert drawing_of(SCREW).window == pytest.approx((-7.5, 7.5, -2, 9.5), rel=1e-12), "with the dimensions"
    at_one_point = Arrow((1.0, 1.0), (1.0, 1.0), 2.0, "0 mm")
    assert at_one_point.ends == ((1.0, 1.0), (1.0, 1.0))


def test_it_is_described_in_words() -> None:
    assert chart_of(SCREW).description == (
        "Drawn to scale: carbon plate; motor base; M3 screw; windings. Dimensions: stack 7 mm; plate 2 mm."
    )
    plan = chart_of(PLAN).description
    assert plan.startswith("Drawn to scale: front right; front left; ")
    assert plan.endswith("; center of mass. Dimensions: 156 mm. Seen from above, front at the top.")
    alone: AnyChart = DrawingChart(lambda given, found: (Outline(np.zeros(1), np.zeros(1)),), title="A dot")
    assert chart_of(alone).description == "Drawn to scale."


@pytest.mark.parametrize("titled", [True, False])
def test_a_page_knows_its_size_and_its_text_before_it_is_drawn(titled: bool) -> None:
    for shown, spec in zip(preview(make_request(7)), CALCULATOR.charts, strict=True):
        chart = chart_of(spec)
        assert (shown.name, shown.alt) == (spec.name, chart.description)
        for shape in SHAPES:
            root = ET.fromstring(draw.as_svg(chart, ChartStyle(shape=shape, titled=titled)))
            size = int(root.get("width", "")), int(root.get("height", ""))
            assert (shown.sizes[shape] == size) is not titled


def test_where_nothing_is_traced_there_is_no_chart() -> None:
    assert make_chart(make_request(1.5), SCREW) is None, "thinner than the plate"


@every_shape
@pytest.mark.parametrize("spec", [PLAN, dataclasses.replace(PLAN, note="")], ids=["note", "alone"])
def test_the_scale_bar_is_as_long_as_it_says(spec: DrawingChart[Any, Any], shape: str) -> None:
    chart = chart_of(spec)
    figure = draw.make_figure(chart, ChartStyle(shape=shape))
    (axes,) = figure.axes
    bar = axes.lines[-1]
    (text,) = (float(found[1]) for each in figure.texts if (found := re.fullmatch(r"(\d+) mm", each.get_text()))
               if each.get_fontsize() == 8)  # fmt: skip
    length = float(np.ptp(np.asarray(bar.get_xdata(), float)))
    assert isinstance(chart.body, Drawing)
    assert length == pytest.approx(text * drawing_box(chart.body, shape)[0], rel=1e-9)
    assert 0.4 < length <= 1.2


def test_what_is_beyond_the_window_is_not_drawn() -> None:
    """And a shape that lies wholly there has no label."""
    far = make_shape(*circle(30, 5, 2), "far away")
    chart = wrap(make_shape(*circle(5, 5, 2), "here"), far, is_clipped=True)
    written = draw.as_svg(chart, ChartStyle()).decode()
    assert ">here<" in written
    assert ">far away<" not in written
    assert "clip-path" in written
    assert find_overlaps(chart, ChartStyle()) == []


def get_label_boxes(chart: ChartData, style: ChartStyle) -> dict[str, Any]:
    """Return the boxes of texts in data coordinates of the axes: inches."""
    with draw._matplotlib_settings(style):
        figure = draw.make_figure(chart, style)
        (axes,) = figure.axes
        FigureCanvasAgg(figure).draw()  # type: ignore[no-untyped-call]
        inverse = axes.transData.inverted()
        return {text.get_text(): inverse.transform_bbox(text.get_window_extent()) for text in figure.texts}


@every_shape
def test_the_label_of_a_filled_shape_is_within_it(shape: str) -> None:
    chart = wrap(make_shape(*circle(5, 5, 4), "within", filled=True))
    style = ChartStyle(shape=shape)
    label = get_label_boxes(chart, style)["within"]
    (axes,) = draw.make_figure(chart, style).axes
    low, high = np.min(axes.patches[0].get_path().vertices, axis=0), np.max(axes.patches[0].get_path().vertices, axis=0)
    middle = (low + high) / 2
    assert abs(label.x0 + label.x1 - 2 * middle[0]) < 0.2
    assert abs(label.y0 + label.y1 - 2 * middle[1]) < 0.2


@every_shape
def test_a_label_is_not_within_a_smaller_shape(shape: str) -> None:
    """It would seem to name that one."""
    chart = wrap(make_shape(*box(0, 0, 10, 10), "plate"), make_shape(*box(0.5, 0.5, 9.5, 9.5), "hole"))
    style = ChartStyle(shape=shape)
    label = get_label_boxes(chart, style)["plate"]
    (axes,) = draw.make_figure(chart, style).axes
    low, high = (end(axes.patches[1].get_path().vertices, axis=0) for end in (np.min, np.max))
    x0, x1, y0, y1 = *sorted((label.x0, label.x1)), *sorted((label.y0, label.y1))
    assert x1 <= low[0] or x0 >= high[0] or y1 <= low[1] or y0 >= high[1]


@every_shape
@pytest.mark.parametrize("count", [1, 8, 16])
def test_crowded_dots_are_all_labelled_and_apart(shape: str, count: int) -> None:
    dots = tuple(make_shape([3 + 0.2 * at % 3], [2 + 0.25 * at], f"part no. {at}") for at in range(count))
    chart = wrap(*dots)
    assert find_overlaps(chart, ChartStyle(shape=shape)) == []
    assert draw.as_svg(chart, ChartStyle(shape=shape)).decode().count(">part no. ") == count


@every_shape
def test_a_label_far_from_its_dot_has_a_line_to_it(shape: str) -> None:
    """The dot is within a dense grille that leaves no room."""
    bars = tuple(make_shape([0, 10], [y, y]) for y in np.linspace(0, 10, 41))
    chart = wrap(*bars, make_shape([5], [5], "bolt"))
    (axes,) = draw.make_figure(chart, ChartStyle(shape=shape)).axes
    leader = axes.lines[-1]
    label = get_label_boxes(chart, ChartStyle(shape=shape))["bolt"]
    x, y = (np.asarray(each, float) for each in (leader.get_xdata(), leader.get_ydata()))
    dot = next(line for line in axes.lines if line.get_marker() == "o")
    assert isinstance(dot, Line2D)
    assert (x[1], y[1]) == pytest.approx((dot.get_xdata()[0], dot.get_ydata()[0]), rel=1e-9)  # type: ignore[index]
    assert label.x0 - 0.1 < x[0] < label.x1 + 0.1
    assert min(label.y0, label.y1) - 0.1 < y[0] < max(label.y0, label.y1) + 0.1


def test_a_long_label_is_shortened_where_there_is_no_room_for_all_of_it() -> None:
    chart = wrap(make_shape([5], [5], "a very long name of a part " * 4))
    for shape in SHAPES:
        assert find_overlaps(chart, ChartStyle(shape=shape)) == []
        assert re.search(">a very long name[^<]*…<", draw.as_svg(chart, ChartStyle(shape=shape)).decode())


def test_a_picture_labels_so_many_and_describes_all() -> None:
    def trace(given: Any, found: Any) -> tuple[Outline, ...]:
        return tuple(Outline(np.array([at / 100]), np.zeros(1), name=f"no. {at}") for at in range(30))

    chart = chart_of(DrawingChart(trace, title="Many"))
    assert isinstance(chart.body, Drawing)
    assert [shape.label for shape in chart.body.shapes if shape.label] == [f"no. {at}" for at in range(MAX_LABELS)]
    assert "; no. 29" in chart.description


def test_the_measured_overlaps_of_drawings(monkeypatch: pytest.MonkeyPatch) -> None:
    """Labels at one place lie on each other; one across the side of a many-sided shape lies on a curve."""
    x, y = np.concatenate([np.linspace([0, 0], [0.01, 0], 70), [[10, 0], [10, 10], [0, 10]]]).T
    chart = wrap(make_shape(x, y, "plate"), make_shape([5], [5], "bolt"))
    assert find_overlaps(chart, ChartStyle()) == []
    found = LabelGrid.place

    def place(self: LabelGrid, width: float, height: float, target: Target) -> Any:
        right = found(self, width, height, target)
        edge = (SHAPES["wide"] - drawing_box(chart.body, "wide")[1]) / 2  # type: ignore[arg-type]
        return right and right._replace(left=edge - width / 2, top=2.0, leader=None)

    monkeypatch.setattr(LabelGrid, "place", place)
    assert find_overlaps(chart, ChartStyle()) == [
        "'bolt' lies on 'plate'", "'bolt' lies on a curve", "'plate' lies on a curve",
    ]  # fmt: skip


def test_a_unit_of_lengths_must_exist() -> None:
    with pytest.raises(DeclarationError, match="chart names stak, which does not exist"):
        dataclasses.replace(CALCULATOR, charts=(dataclasses.replace(SCREW, measure="stak"),))


def test_the_cells_of_a_grid() -> None:
    """Areas by hand; the share of cells at the edge is about perimeter x cell / area."""
    grid = LabelGrid(1.0, 2.0, 5.0, 6.0)
    disc = grid.find_inside(*circle(3.0, 4.0, 1.5))
    assert disc.sum() * CELL**2 == pytest.approx(np.pi * 1.5**2, rel=0.01)
    square = grid.find_inside(*box(2.0, 3.0, 9.0, 4.0))
    assert square.sum() * CELL**2 == pytest.approx(3, rel=0.03), "1 by the 3 that are within the grid"
    assert (square == grid.find_within(2.0, 3.0, 9.0, 4.0)).all()
    assert grid.holds(disc, 3.0, 4.0)
    assert not grid.holds(disc, 1.2, 2.2)
    assert not grid.holds(disc, 30.0, 4.0)
    assert not grid.empty().any()


def test_a_full_grid_has_no_place() -> None:
    grid = LabelGrid(0.0, 0.0, 1.0, 1.0)
    target = Target(np.array([0.5]), np.array([0.5]), None, False, grid.empty(), grid.empty())
    assert grid.place(2.0, 0.1, target) is None, "too wide"
    placed = [grid.place(0.8, 0.15, target) for _ in range(8)]
    assert placed[0] is not None
    assert placed[-1] is None
