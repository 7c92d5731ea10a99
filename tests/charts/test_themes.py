"""Tests of chart colours against published measures of contrast and of colour blindness."""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import numpy as np
import pytest
from colorspacious import cspace_convert, deltaE

import gramwatt
from gramwatt.charts.themes import DASHES, THEMES, Theme

every_theme = pytest.mark.parametrize("theme", THEMES.values(), ids=THEMES)
CSS = (Path(gramwatt.__file__).parent / "web" / "static" / "page.css").read_text(encoding="utf-8")


def to_rgb(colour: str) -> list[float]:
    return [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2, definition."""
    parts = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_measure_of_contrast() -> None:
    """By hand from the definition in WCAG 2.2: 1.05/0.05 = 21; grey 118/255 has ((0.4627 + 0.055)/1.055)^2.4 = 0.1812,

    so 1.05/0.2312 = 4.54.
    """
    assert contrast("#000000", "#ffffff") == pytest.approx(21, rel=1e-12)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@every_theme
def test_text_has_enough_contrast(theme: Theme) -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1."""
    verdicts = (theme.good, theme.close, theme.bad)
    for colour in (theme.text, theme.muted, theme.accent, theme.highlight, *verdicts):
        assert contrast(colour, theme.background) >= 4.5, colour


@every_theme
def test_lines_have_enough_contrast(theme: Theme) -> None:
    """WCAG 2.2, 1.4.11: 3 to 1 for what is needed to read a chart."""
    for colour in (theme.accent, theme.highlight, *theme.lines):
        assert contrast(colour, theme.background) >= 3, colour


@every_theme
@pytest.mark.parametrize("eyes", ["all", "deuteranomaly", "protanomaly", "tritanomaly"])
def test_colours_differ_for_colour_blind_eyes(theme: Theme, eyes: str) -> None:
    """Machado, Oliveira & Fernandes 2009 (severity 100) in CAM02-UCS, both as colorspacious has them.

    One just notices a difference of about 1; 15 is our estimate for thin lines.
    """
    space = {"name": "sRGB1+CVD", "cvd_type": eyes, "severity": 100}
    pairs = [*itertools.combinations(theme.lines, 2), (theme.accent, theme.highlight)]
    for one, other in pairs:
        seen = [to_rgb(each) for each in (one, other)]
        if eyes != "all":
            seen = [np.clip(cspace_convert(each, space, "sRGB1"), 0, 1).tolist() for each in seen]
        assert float(deltaE(*seen, input_space="sRGB1")) >= 15, (one, other)


@every_theme
def test_lines_differ_without_colour_too(theme: Theme) -> None:
    assert len({str(dash) for dash in DASHES}) == len(DASHES) == len(theme.lines)


@pytest.mark.parametrize(("scheme", "theme"), THEMES.items(), ids=THEMES)
def test_pages_use_the_colours_of_charts(scheme: str, theme: Theme) -> None:
    """A chart on a page has no background of its own, so its paper, texts and rules have the colours of the page's."""
    blocks = re.findall(r":root \{(.*?)\n *\}", CSS, re.DOTALL)
    css = dict(re.findall(r"--([a-z0-9-]+): (#[0-9a-f]+)", blocks[0 if scheme == "light" else 1]))
    roles = {"paper": theme.background, "ink": theme.text, "quiet": theme.muted, "rule": theme.rule}
    roles |= {"good": theme.good, "close": theme.close, "bad": theme.bad}
    assert {name: css[name] for name in roles} == roles
    for colour in (theme.text, theme.muted, theme.accent, theme.highlight, css["ink"], css["quiet"], css["link"]):
        assert contrast(colour, css["paper"]) >= 4.5
    assert contrast(css["quiet"], css["field"]) >= 4.5
    assert contrast(css["edge"], css["field"]) >= 3
