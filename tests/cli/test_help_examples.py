"""The examples in the help of each command work as they are shown."""

from __future__ import annotations

import shlex
from pathlib import Path

import pyarrow.csv
import pyarrow.parquet
import pytest
from click.testing import CliRunner

from gramwatt.__main__ import main
from gramwatt.cli.main import COMMANDS

ROOT = Path(__file__).resolve().parents[2]
TABLE = "cells,capacity,pack_power\n4,1300,200\n6,1300,300\n"


def list_examples() -> list[str]:
    """Return the commands below "Examples:" in every help, but those that serve."""
    helps = [CliRunner().invoke(main, [*command, "--help"]).output for command in ([], *([name] for name in COMMANDS))]
    lines = [line.strip() for text in helps for line in text.partition("Examples:")[2].splitlines()]
    return sorted({line for line in lines if line.startswith("gramwatt ") and line != "gramwatt serve"})


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Change into a folder with the files that the examples name."""
    (tmp_path / "packs.csv").write_text(TABLE, "utf-8")
    pyarrow.parquet.write_table(pyarrow.csv.read_csv(tmp_path / "packs.csv"), tmp_path / "packs.parquet")
    (tmp_path / "craft.json").write_bytes((ROOT / "examples" / "craft" / "craft.json").read_bytes())
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_commands_have_examples() -> None:
    assert {line.split()[1] for line in list_examples()} >= {"batch", "calc", "chart", "check", "craft", "sweep"}


@pytest.mark.usefixtures("folder")
@pytest.mark.parametrize("line", list_examples())
def test_an_example_works(line: str) -> None:
    result = CliRunner().invoke(main, shlex.split(line.replace("--jobs 4", "--jobs 1"))[1:])
    assert result.exit_code == 0, result.output
