"""The README's questions have the answers it prints."""

from __future__ import annotations

import doctest
import re
import shlex
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from click.testing import CliRunner

from gramwatt.__main__ import main
from gramwatt.web import create_app

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
CONSOLE = re.findall(r"```console\n\$ (.+)\n((?:.|\n)*?)```", README)


@pytest.mark.parametrize(("command", "printed"), CONSOLE, ids=[command[:40] for command, _ in CONSOLE])
def test_a_command_prints_what_the_readme_says(command: str, printed: str) -> None:
    program, *words = shlex.split(command)
    if program == "curl":
        url = urlsplit(words[0])
        assert create_app().test_client().get(f"{url.path}?{url.query}").text == printed.strip()
    else:
        assert program == "gramwatt"
        assert CliRunner().invoke(main, words).output.replace("\r\n", "\n") == printed


def test_the_cell_asks_what_curl_asks() -> None:
    cell = re.search(r'WEBSERVICE\("([^"]+)"\)', README)
    assert cell is not None
    assert any(cell[1] in command for command, _ in CONSOLE)


def test_the_python_session_is_real() -> None:
    session = re.search(r"```python\n((?:.|\n)*?)```", README)
    assert session is not None
    test = doctest.DocTestParser().get_doctest(session[1], {}, "README", "README.md", 0)
    assert test.examples
    assert doctest.DocTestRunner().run(test).failed == 0


def test_its_links_lead_somewhere() -> None:
    links = re.findall(r"\]\((?!https?:)([^)#]+)\)", README + (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"))
    assert [link for link in links if not (ROOT / link).exists()] == []


def test_it_opens_with_the_job() -> None:
    first = README.split("\n\n")[1]
    assert first.startswith("You build, weigh, test-fly and report")
