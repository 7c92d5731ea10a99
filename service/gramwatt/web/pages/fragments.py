"""HTML that pages repeat, rendered once and cached: menus of units, unchanged fields."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from markupsafe import Markup

from gramwatt.charts.formatting import unit_sign
from gramwatt.web.pages.form_view import Field

CACHE_SIZE: Final = 4096
MAX_CACHED_VALUE: Final = 100
"""Characters of a value whose field is cached: no pasted recording."""


@functools.lru_cache(CACHE_SIZE)
def unit_options(units: tuple[str, ...], selected: str, default: str = "") -> Markup:
    """Return the options of a menu of units, each sign once. Selecting ``default`` sends an empty value."""
    by_sign: dict[str, str] = {}
    for unit in units:
        by_sign.setdefault(unit_sign(unit) or unit, unit)
    return Markup("").join(
        Markup("<option{}{}>{}</option>\n").format(
            _value_attribute("" if unit == default else unit, sign),
            Markup(" selected") if sign == (unit_sign(selected) or selected) else "",
            sign,
        )
        for sign, unit in by_sign.items()
    )


def _value_attribute(value: str, text: str) -> Markup:
    """Return the attribute for an option's value, where that is not the option's text."""
    return Markup("") if value == text else Markup(' value="{}"').format(value)


@dataclass(frozen=True, slots=True)
class _CacheKey:
    """A macro and the field that it renders. Two are equal where the HTML is the same."""

    macro_name: str
    description: int
    """The identity of the field's description, which lives as long as the process."""
    key: str
    value: str
    unit: str
    assumed: str
    macro: Callable[[Field], Markup] = field(compare=False)
    shown_field: Field = field(compare=False)


@functools.lru_cache(CACHE_SIZE)
def _render(key: _CacheKey) -> Markup:
    return key.macro(key.shown_field)


def render_cached(macro: Callable[[Field], Markup], shown_field: Field) -> Markup:
    """Render a field with a template macro; not cached is one with errors, a long value or names of rows."""
    if shown_field.errors or shown_field.options or len(shown_field.value) > MAX_CACHED_VALUE:
        return macro(shown_field)
    name = getattr(macro, "name")  # noqa: B009 - of a macro of Jinja
    description = id(shown_field.description)
    return _render(
        _CacheKey(
            name, description, shown_field.key, shown_field.value, shown_field.unit, shown_field.assumed,
            macro, shown_field,
        )
    )  # fmt: skip
