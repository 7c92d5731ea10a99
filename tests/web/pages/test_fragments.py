"""Tests of HTML that is rendered once."""

from __future__ import annotations

from markupsafe import Markup

from gramwatt.model.messages import InputError
from gramwatt.web.pages.form_view import Field
from gramwatt.web.pages.fragments import render_cached, unit_options


def test_a_field_is_rendered_once_for_each_state() -> None:
    """Whatever shows in it makes another one; an error, or a long text, is never cached."""
    about, calls = {"kind": "text"}, []

    class Macro:
        name = "single"

        def __call__(self, shown: Field) -> Markup:
            calls.append(shown)
            return Markup(f"{shown.key}={shown.value}{shown.unit}{shown.assumed}")

    states = [
        Field("a", about),
        Field("b", about),
        Field("a", dict(about)),
        Field("a", about, value="1"),
        Field("a", about, unit="g"),
        Field("a", about, assumed="2"),
    ]
    for _ in range(2):
        assert [render_cached(Macro(), state) for state in states] == ["a=", "b=", "a=", "a=1", "a=g", "a=2"]
    assert calls == states
    for state in (
        Field("a", about, errors=(InputError("/a", "wrong", None, "right"),)),
        Field("a", about, value="9" * 101),
    ):
        assert render_cached(Macro(), state) == render_cached(Macro(), state)
    assert len(calls) == len(states) + 4


def test_a_unit_menu_has_each_sign_once() -> None:
    assert unit_options(("g", "a<b"), "g") == "<option selected>g</option>\n<option>a&lt;b</option>\n"
    assert unit_options(("g", "kg"), "kg", "g") == ('<option value="">g</option>\n<option selected>kg</option>\n'), (
        "the default is sent as nothing"
    )
    assert unit_options(("mohm", "mΩ", "ohm", "Ω"), "mΩ") == (
        '<option value="mohm" selected>mΩ</option>\n<option value="ohm">Ω</option>\n'
    )
