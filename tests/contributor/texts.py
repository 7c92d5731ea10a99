"""Texts derived from the calculators: the table and printed results in README.md, CHANGELOG entries for new ones.

``make contract`` writes them, ``test_texts.py`` compares.
"""

from __future__ import annotations

import json
import re
import shlex
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from click.testing import CliRunner

from contributor import nomenclature
from gramwatt.__main__ import main
from gramwatt.engine import draw_order, draws, registry

ROOT: Final = Path(__file__).resolve().parents[2]
TABLE: Final = re.compile(r"(?<=<!-- written by: make contract -->\n)(?:.|\n)*?(?=<!-- end -->)")
CALC: Final = re.compile(r"(?<=```console\n)\$ gramwatt (.+)\n(?:.|\n)*?(?=```)")
UNRELEASED: Final = "## [Unreleased]\n"


def readme() -> str:
    """Return README.md with the table of calculators, and what its commands print, as they must be."""
    table = _output("list --markdown").strip() + "\n"
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    made, count = TABLE.subn(lambda _: table, text)
    if count != 1:
        raise ValueError("README.md: the comments around the table of calculators are missing")
    return CALC.sub(lambda found: f"{found[0].splitlines()[0]}\n{_output(found[1])}", made)


def _output(arguments: str) -> str:
    """Return what a command prints. Raises ValueError where it fails."""
    result = CliRunner(env={"COLUMNS": "100"}).invoke(main, shlex.split(arguments))
    if result.exit_code:
        raise ValueError(f"gramwatt {arguments}: {result.output}")
    return result.output


def changelog() -> str:
    """Return CHANGELOG.md with an entry for each calculator that is neither published nor mentioned."""
    text = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    published = json.loads((ROOT / "openapi" / "published.json").read_text(encoding="utf-8"))["paths"]
    new = [name for name in registry.list_names() if f"/v1/{name}" not in published and f"`{name}`" not in text]
    return add_entries(text, [f"- `{name}`: {registry.get(name).summary}" for name in new])


def add_entries(text: str, entries: Iterable[str]) -> str:
    """Return a changelog with entries under "Added" of the unreleased version, whose heading must exist."""
    lines = "".join(f"{entry}\n" for entry in entries)
    if not lines:
        return text
    before, heading, after = text.partition(UNRELEASED)
    if not heading:
        raise ValueError("CHANGELOG.md has no heading [Unreleased]")
    section, next_version, rest = after.partition("\n## [")
    added = "### Added\n\n"
    if added not in section:
        section = f"\n{added}{section}"
    return before + heading + section.replace(added, added + lines, 1) + next_version + rest


DRAW_ORDER: Final = Path(draw_order.__file__)


def list_draw_order() -> str:
    """Return the module with the order of inputs in the design of draws, new names at its end."""
    head, _, _ = DRAW_ORDER.read_text(encoding="utf-8").partition("NAMES: Final = (")
    return head + "NAMES: Final = (\n" + "".join(f'    "{name}",\n' for name in draws.order_names()) + ")\n"


if __name__ == "__main__":
    DRAW_ORDER.write_text(list_draw_order(), encoding="utf-8")  # before anything is computed
    for path, content in (
        (ROOT / "README.md", readme()),
        (ROOT / "CHANGELOG.md", changelog()),
        (nomenclature.PATH, nomenclature.nomenclature()),
    ):
        path.write_text(content, encoding="utf-8")
