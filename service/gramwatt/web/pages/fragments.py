"""HTML that pages repeat: a menu of units, a field left as it was. Each is written once."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from markupsafe import Markup

from gramwatt.web.pages.fields import Field

CACHED: Final = 4096
LONGEST: Final = 100
"""Letters of a value whose field is worth caching: no pasted recording."""


@functools.lru_cache(CACHED)
def unit_options(units: tuple[str, ...], chosen: str, usual: str = "") -> Markup:
    """Return the options of a menu of units, with one selected. Choosing the ``usual`` one sends an empty value."""
    return Markup("").join(
        Markup("<option{}{}>{}</option>\n").format(
            Markup(' value="{}"').format("" if unit == usual else unit) if usual else "",
            Markup(" selected") if unit == chosen else "",
            unit,
        )
        for unit in units
    )


@dataclass(frozen=True, slots=True)
class _Rendering:
    """A macro of a template, and the field that it shows; equal where the HTML is the same."""

    macro_name: str
    description: int
    """The identity of the field's description, which lives as long as the process."""
    key: str
    value: str
    unit: str
    assumed: str
    macro: Callable[[Field], Markup] = field(compare=False)
    shown: Field = field(compare=False)


@functools.lru_cache(CACHED)
def _render(rendering: _Rendering) -> Markup:
    return rendering.macro(rendering.shown)


def render_once(macro: Callable[[Field], Markup], shown: Field) -> Markup:
    """Return what a macro makes of a field without faults and rows, from a cache where it did so before."""
    if shown.errors or len(shown.value) > LONGEST:
        return macro(shown)
    name = getattr(macro, "name")  # noqa: B009 - of a macro of Jinja
    about = id(shown.about)
    return _render(_Rendering(name, about, shown.key, shown.value, shown.unit, shown.assumed, macro, shown))
