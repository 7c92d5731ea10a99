"""Optional libraries: where one is missing, the service and the command line say what to install."""

from __future__ import annotations

import sys
from typing import Any, NoReturn

import pytest
from click.testing import CliRunner

from gramwatt import extras
from gramwatt.__main__ import main
from gramwatt.cli.list import list_calculators
from gramwatt.extras import MissingExtra
from gramwatt.web import create_app

SENTENCE = "Charts need absent_library, which is not installed: pip install 'gramwatt[charts]'"


def need(*_: Any, **__: Any) -> NoReturn:
    extras.require("absent_library", extra="charts", purpose="Charts")
    raise AssertionError("an absent library was found")


def test_an_installed_library_is_returned() -> None:
    assert extras.require("numpy", extra="tables", purpose="Tables") is sys.modules["numpy"]


def test_a_missing_library_is_named_with_its_extra() -> None:
    with pytest.raises(MissingExtra) as caught:
        need()
    assert str(caught.value) == SENTENCE
    assert (caught.value.library, caught.value.extra) == ("absent_library", "charts")


def test_a_library_that_is_installed_but_broken_is_not_called_missing(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Any
) -> None:
    """Its own dependency is what is missing; installing the extra again would not help."""
    (tmp_path / "broken_library.py").write_text("import absent_library\n")
    monkeypatch.syspath_prepend(tmp_path)
    with pytest.raises(ModuleNotFoundError, match="No module named 'absent_library'") as caught:
        extras.require("broken_library", extra="charts", purpose="Charts")
    assert not isinstance(caught.value, MissingExtra)


def test_the_service_answers_501() -> None:
    app = create_app()
    app.add_url_rule("/needs", view_func=need)
    response = app.test_client().get("/needs")
    assert response.status_code == 501
    assert response.content_type == "application/problem+json"
    problem = response.get_json()
    assert problem["type"].endswith("/problems/not-installed")
    assert problem["detail"] == f"{SENTENCE}."


def test_the_command_line_fails_with_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(list_calculators, "callback", need)
    ended = CliRunner().invoke(main, ["list"])
    assert ended.exit_code == 2
    assert ended.stderr == f"{SENTENCE}\n"
