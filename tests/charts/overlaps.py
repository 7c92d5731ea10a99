"""Find texts of a drawn chart that lie on a curve, on another text or beyond the edge."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator

import numpy as np
from matplotlib.artist import Artist
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from gramwatt.arrays import Array
from gramwatt.charts import draw
from gramwatt.charts.chart_data import ChartData, HeatMap
from gramwatt.charts.themes import ChartStyle

STEPS = 60
"""Places on each straight piece of a curve that are compared with the texts."""
TOLERANCE = 1.0
"""Pixels (of 100 to the inch) that two boxes may share, since letters do not fill theirs."""


def find_overlaps(chart: ChartData, style: ChartStyle) -> list[str]:
    """Return what is wrong with the texts of a chart. The labels on the contour lines of a map belong there."""
    with draw._matplotlib_settings(style):
        figure = draw.make_figure(chart, style)
        canvas = FigureCanvasAgg(figure)
        canvas.draw()  # type: ignore[no-untyped-call]
        texts = [(text, text.get_window_extent()) for text in _list_texts(figure)]
    if isinstance(chart.body, HeatMap):
        texts = [(text, box) for text, box in texts if text in figure.texts]
    found = [
        f"{text.get_text()!r} is cut"
        for text, box in texts
        if box.x0 < -TOLERANCE or box.y0 < -TOLERANCE or box.x1 > figure.bbox.x1 + TOLERANCE
        or box.y1 > figure.bbox.y1 + TOLERANCE
    ]  # fmt: skip
    found += [
        f"{one.get_text()!r} lies on {other.get_text()!r}"
        for (one, box), (other, other_box) in itertools.combinations(texts, 2)
        if _is_shared(box, other_box)
    ]
    curves = list(_list_curves(figure))
    for text, box in texts:
        x0, y0, x1, y1 = box.x0 + TOLERANCE, box.y0 + TOLERANCE, box.x1 - TOLERANCE, box.y1 - TOLERANCE
        for curve in curves:
            x, y = curve[:, 0], curve[:, 1]
            if ((x > x0) & (x < x1) & (y > y0) & (y < y1)).any():
                found.append(f"{text.get_text()!r} lies on a curve")
                break
    return found


def _is_shared(one: Bbox, other: Bbox) -> bool:
    width = min(one.x1, other.x1) - max(one.x0, other.x0)
    height = min(one.y1, other.y1) - max(one.y0, other.y0)
    return bool(width > TOLERANCE and height > 3 * TOLERANCE)


def _list_texts(figure: Figure) -> Iterator[Text]:
    """Yield the texts that are shown: labels, and those at ticks within the limits of an axis."""
    yield from (text for text in figure.texts if text.get_text())
    for axes in figure.axes:
        yield from (text for text in axes.texts if text.get_text())
        for axis, (low, high) in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
            for tick in axis.get_major_ticks():
                shown = min(low, high) <= tick.get_loc() <= max(low, high)
                if shown and tick.label1.get_visible() and tick.label1.get_text():
                    yield tick.label1


def _list_curves(figure: Figure) -> Iterator[Array]:
    """Yield places on every curve, error bar and outline of a bar or a shape, in pixels, as far as they are drawn."""
    for axes in figure.axes:
        for line in axes.lines:
            places = line.get_transform().transform(np.asarray(line.get_xydata(), dtype=float))
            yield from _clip(line, _subdivide(places) if line.get_linestyle() != "None" else [places])
        for collection in axes.collections:
            if isinstance(collection, LineCollection):
                for segment in collection.get_segments():
                    yield from _subdivide(axes.transData.transform(segment))
        for patch in axes.patches:
            yield from _clip(patch, _subdivide(patch.get_transform().transform(patch.get_path().vertices)))


def _clip(artist: Artist, curves: Iterable[Array]) -> Iterator[Array]:
    """Yield the places of curves that are within the rectangle that their artist is clipped to."""
    box = artist.get_clip_box() if artist.get_clip_on() else None
    for places in curves:
        x, y = places[:, 0], places[:, 1]
        yield places if box is None else places[(x >= box.x0) & (x <= box.x1) & (y >= box.y0) & (y <= box.y1)]


def _subdivide(places: Array) -> Iterator[Array]:
    places = places[np.isfinite(places).all(axis=1)]
    if len(places) > STEPS:
        # A long curve has its places close together but for some straight pieces, such as the side of a shape.
        steps = np.clip(np.hypot(*np.diff(places, axis=0).T), 1, STEPS).astype(int)
        pieces = [
            start + np.linspace(0, 1, count)[:, None] * (end - start)
            for (start, end), count in zip(itertools.pairwise(places), steps.tolist(), strict=True)
            if count > 2
        ]
        yield np.concatenate([places, *pieces])
    elif len(places):
        share = np.linspace(0, 1, STEPS)[:, None]
        pieces = [start + share * (end - start) for start, end in itertools.pairwise(places)]
        yield np.concatenate([places, *pieces])
