"""The check of wording: what counts as prose in each language, where a finding is, and that every rule can fire."""

from __future__ import annotations

from pathlib import Path, PurePath

import pytest

from style.__main__ import main
from style.prose import extract_prose, split_identifier
from style.rules import NameRule, ProseRule, Rules, check_file, load_rules

RULES = Rules(
    prose=(ProseRule.compile("lorem ipsum", "plain English", exceptions=["no lorem ipsum"]),),
    names=(NameRule(frozenset({"lorem"}), "a better name"),),
)

PYTHON = '''\
"""Module: lorem
ipsum."""

LABEL = 1  # lorem ipsum ``lorem ipsum``
# In a comment: lorem
# ipsum.
fail("a sentence with lorem "
     f"ipsum and {LABEL}")
fail("lorem ipsum")
fail("""\\
Text that begins on the next line: lorem ipsum.
""")
fail("no lorem ipsum here")
fail("one sentence, lorem", "ipsum and another")
'''


@pytest.mark.parametrize(
    ("name", "source", "lines"),
    [
        ("a.py", PYTHON, [1, 4, 5, 7, 11]),
        ("a.md", "Lorem\nipsum.\n\n```\nlorem ipsum\n```\n`lorem ipsum` [lorem ipsum](lorem)\n", [1, 7]),
        ("a.html", '{# lorem ipsum #}\n<p class="lorem ipsum x">{{ lorem }} ipsum,\nlorem ipsum</p>', [1, 3]),
        ("a.html", '<img alt="the words lorem ipsum" src="lorem">', [1]),
        ("a.js", "// lorem ipsum\nconst a = 'the words lorem ipsum';\n/* lorem\n   ipsum */", [1, 2, 3]),
        ("a.css", "/* lorem ipsum */\n.lorem .ipsum {}", [1]),
        ("Makefile", "lorem: ipsum\n# lorem ipsum\n", [2]),
        ("a.toml", 'key = "lorem"  # lorem ipsum\n', [1]),
        ("a.unknown", "lorem ipsum", []),
    ],
)
def test_findings_have_the_line_of_the_phrase(name: str, source: str, lines: list[int]) -> None:
    assert [found.line for found in check_file(PurePath(name), source, Rules(RULES.prose, ()))] == lines


def test_names_are_found_where_they_are_defined() -> None:
    source = "class LoremX: ...\ndef f(lorem): ...\nlorem_1 = dolorem = self.lorem = 1\nimport a as lorem\nlorem()\n"
    found = check_file(PurePath("lorem.py"), source, Rules((), RULES.names))
    assert [(each.line, each.words) for each in found] == [
        (1, "LoremX"),
        (1, "lorem"),
        (2, "lorem"),
        (3, "lorem"),
        (3, "lorem_1"),
        (4, "lorem"),
    ]


def test_names_split_into_words() -> None:
    assert split_identifier("read_HTTPBodyOf_x2") == ["read", "http", "body", "of", "x"]


def test_rules_can_be_limited_to_kinds_and_files() -> None:
    rule = ProseRule.compile("lorem", "none", kinds=["comment"], files=["service/*"])
    source = '"""Lorem."""\n# lorem\n'
    assert [found.line for found in check_file(PurePath("service/x/a.py"), source, Rules((rule,), ()))] == [2]
    assert check_file(PurePath("tests/a.py"), source, Rules((rule,), ())) == []


def test_a_string_of_two_words_is_no_prose() -> None:
    assert "lorem" not in "".join(each.text for each in extract_prose(PurePath("a.py"), 'x = "lorem ipsum"'))


@pytest.mark.parametrize(
    ("sentence", "fires"),
    [
        ("The request asks\nwhat it weighs.", True),
        ("Ask for kilograms.", False),
        ("The row at fault is reported.", True),
        ("The answer is 413.", True),
        ("The server answers with 413.", False),
        ("There is no answer.", False),
        ("The page tells the price.", True),
        ("It tells both apart.", False),
        ("The service caches a response and rejects an invalid row.", False),
    ],
)
def test_the_rules_of_the_project(sentence: str, fires: bool) -> None:
    found = check_file(PurePath("a.md"), sentence, load_rules())
    assert bool(found) == fires, found


def test_the_command_reports_and_fails(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("a.md").write_text("Fine.\n\nWhat is said of it.\n", encoding="utf-8")
    Path("b.md").write_text("Fine.\n", encoding="utf-8")
    assert main(["a.md", "b.md"]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert [line.split(": ")[0] for line in lines] == ["a.md:3", "a.md:3", "2 findings"]
    assert main(["a.md", "--summary"]) == 1
    assert "     2 a.md" in capsys.readouterr().out
    assert main(["b.md"]) == 0
    assert capsys.readouterr().out == "no findings\n"
