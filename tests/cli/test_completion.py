"""Shell completion: a real bash runs the script and gets proposals for calculators, inputs, options and results."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from gramwatt.__main__ import main
from gramwatt.cli.main import COMPLETION_VARIABLE

SCRIPT = """\
source <(gramwatt completion bash)
compopt() { :; }  # works inside a completion only
propose() {
    COMP_LINE="$1" COMP_POINT=${#1} COMPREPLY=()
    _gramwatt_completion gramwatt
    echo "${COMPREPLY[*]}"
}
while IFS= read -r line; do propose "$line"; done
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the program `gramwatt`."""
    made = tmp_path_factory.mktemp("bin")
    program = made / "gramwatt"
    code = "import sys; sys.argv[0] = 'gramwatt'; from gramwatt.__main__ import main; main()"
    program.write_text(f'#!/bin/sh\nexec {sys.executable} -c "{code}" "$@"\n', encoding="utf-8")
    program.chmod(0o755)
    return made


def test_bash_gets_proposals(folder: Path) -> None:
    bash = shutil.which("bash")
    if bash is None:
        pytest.skip("bash is not installed")
    expected = {
        "gramwatt ca": "calc",
        "gramwatt calc pack-e": "pack-energy",
        "gramwatt calc pack-energy cells=6 ca": "capacity=",
        "gramwatt calc pack-energy pac": "pack_mass=",
        "gramwatt calc pack-energy --craft craft.json pac": "pack_mass= pack=",
        "gramwatt calc pack-energy chemistry=li": "lipo lihv li-ion lifepo4",
        "gramwatt calc pack-energy --value usable_e": "usable_energy",
        "gramwatt calc pack-energy --units usable_energy:k": "kWh kJ",
        "gramwatt calc pack-energy cells=6 --wor": "--working",
        "gramwatt sweep pack-energy --vary ca": "capacity=",
    }
    shown = subprocess.run(
        [bash, "-c", SCRIPT],
        input="".join(f"{line}\n" for line in expected),
        env={**os.environ, "PATH": f"{folder}{os.pathsep}{os.environ['PATH']}"},
        capture_output=True, text=True, check=True, timeout=60,
    )  # fmt: skip
    assert dict(zip(expected, shown.stdout.splitlines(), strict=True)) == expected


@pytest.mark.parametrize("shell", ["zsh", "fish"])
def test_other_shells_get_a_script_and_proposals_with_texts(shell: str) -> None:
    script = CliRunner().invoke(main, ["completion", shell]).output
    assert f"{COMPLETION_VARIABLE}={shell}_complete" in script
    environment = {
        COMPLETION_VARIABLE: f"{shell}_complete",
        "COMP_WORDS": "gramwatt calc pack-energy ca",
        "COMP_CWORD": "3",
    }
    if shell == "fish":
        environment["COMP_CWORD"] = "ca"
    proposals = CliRunner(env=environment).invoke(main, [], prog_name="gramwatt").output
    assert "capacity=" in proposals
    assert "apacity" in proposals.replace("capacity=", "")
