"""Tests of the pages' scripts in Node, and that they read typed values as the service does."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

import gramwatt.web
from clients.running import need
from gramwatt.engine import registry
from gramwatt.model import NumberList
from gramwatt.web.pages.craft_form import describe_fields
from gramwatt.web.pages.form_reader import parse_value

pytestmark = pytest.mark.client("node")
STATIC = Path(gramwatt.web.__file__).with_name("static")
SCRIPTS = Path(__file__).with_name("scripts")
TYPED = [
    *("6", " 1300 ", "1.3", "-2.", ".5e3", "1e4", "1300 mAh", "212 ± 1", "212 +/- 1", "212 ± 1 g", "lots", "true", ""),
    *("false", "1,3", "1.250,5", "100, 120", "100; 120 130", "38.4 11.1\n2", "1,5; 2,5", "38 g, 40 g", "4 cells", "١"),
]


@pytest.fixture
def modules(tmp_path: Path) -> Path:
    """Return a folder with the scripts and their tests, as modules for Node."""
    for source in (*STATIC.glob("*.js"), *SCRIPTS.glob("*.test.js")):
        shutil.copy(source, tmp_path)
    (tmp_path / "package.json").write_text('{"type": "module"}', encoding="utf-8")
    return tmp_path


def test_the_scripts_pass_their_tests(modules: Path) -> None:
    tests = sorted(map(str, modules.glob("*.test.js")))
    run = subprocess.run(
        [need("node"), "--test", *tests], cwd=modules, capture_output=True, text=True, timeout=120, check=False
    )
    assert run.returncode == 0, run.stdout[-4000:]
    written = sum(each.read_text(encoding="utf-8").count("\ntest(") for each in SCRIPTS.iterdir())
    assert f"# pass {written}\n" in run.stdout


def test_typed_values_are_the_cells_that_the_service_reads(modules: Path) -> None:
    """For each kind of input, with each unit and decimal sign."""
    cases: list[tuple[Any, ...]] = []
    expected: list[Any] = []
    seen: set[str] = set()
    for calculator in registry.load().values():
        described = json.loads(describe_fields(calculator))
        for name, kind in calculator.input_fields.items():
            key = f"{described[name]['kind']} {described[name].get('unit')}"
            if key in seen or described[name]["kind"] in ("table", "samples"):
                continue
            seen.add(key)
            quantity = kind.item if isinstance(kind, NumberList) else kind
            for unit in ("", getattr(quantity, "unit", ""), "kg" if getattr(quantity, "unit", "") == "g" else ""):
                for decimal in (".", ","):
                    for text in TYPED:
                        cases.append((described[name], text, unit, decimal))
                        expected.append(parse_value(kind, text, unit, decimal) if text.strip() else None)
    (modules / "cases.json").write_text(json.dumps(cases), encoding="utf-8")
    code = (
        'import { readFileSync } from "node:fs"; import { toCell } from "./craft-cells.js";'
        'const cases = JSON.parse(readFileSync("cases.json", "utf8"));'
        "console.log(JSON.stringify(cases.map((each) => toCell(...each) ?? null)));"
    )
    run = subprocess.run(
        [need("node"), "--input-type=module", "-e", code], cwd=modules, capture_output=True, text=True, check=True
    )
    wrong = [
        (case, found, wanted)
        for case, found, wanted in zip(cases, json.loads(run.stdout), expected, strict=True)
        if (found.strip() if isinstance(found, str) else found)
        != (wanted.strip() if isinstance(wanted, str) else wanted)
    ]
    assert len(seen) > 20
    assert wrong == []
