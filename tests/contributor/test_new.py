"""`make new` writes a calculator that passes every check that a contributor runs."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from contributor.new import ROOT, create, main


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """Return a copy of the package and of the tests that a new calculator inherits."""
    for folder in ("service", "tests"):
        ignored = shutil.ignore_patterns("__pycache__", "node_modules", "static", "*.svg")
        shutil.copytree(ROOT / folder, tmp_path / folder, ignore=ignored)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    shutil.copytree(ROOT / "openapi", tmp_path / "openapi")
    return tmp_path


def test_a_new_calculator_passes_what_it_inherits(checkout: Path) -> None:
    for path in create("wire-resistance", checkout):
        assert path.exists()
    environment = {**os.environ, "PYTHONPATH": f"{checkout / 'service'}{os.pathsep}{checkout / 'tests'}"}
    checked = subprocess.run(
        [sys.executable, "-m", "gramwatt", "check", "wire-resistance"],
        capture_output=True, text=True, env=environment, cwd=checkout, check=False,
    )  # fmt: skip
    assert (checked.returncode, checked.stdout) == (0, "wire-resistance: no problems\n"), checked.stderr
    inherited = ("tests/test_every_calculator.py", "tests/calculators/test_wire_resistance.py", "-k", "wire")
    tested = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *inherited],
        capture_output=True, text=True, env=environment, cwd=checkout, check=False,
    )  # fmt: skip
    assert tested.returncode == 0, tested.stdout
    assert " passed" in tested.stdout


@pytest.mark.parametrize("name", ["CableDrop", "cable_drop", "", "-wire", "../wire", "1st"])
def test_a_name_in_another_form_is_rejected(name: str, tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="lower-case words joined by hyphens"):
        create(name, tmp_path)


def test_files_that_exist_are_not_overwritten(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["pack-energy"]) == 2
    assert capsys.readouterr().err == "service/gramwatt/calculators/pack_energy.py exists already\n"


def test_a_missing_name_is_explained(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 2
    assert "make new NAME=cable-drop" in capsys.readouterr().err
