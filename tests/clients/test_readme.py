"""Every command of README.md works when pasted in order, and prints what the README shows."""

from __future__ import annotations

import doctest
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Final

import pytest

from clients.running import EXAMPLES, environment, free_port, need

ROOT: Final = Path(__file__).resolve().parents[2]
README: Final = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS: Final = re.findall(r"```(console|sh)\n((?:.|\n)*?)```", README)
PORT: Final = "8000"
MAX_OWN_LINES: Final = 136
"""Beside the table of calculators: 150 with the first fourteen of them."""
END: Final = "== end of a command"


def commands() -> list[tuple[str, str]]:
    """Return each command in order, with the output that the README shows for it, if it shows one."""
    found = []
    for kind, block in BLOCKS:
        if kind == "console":
            command, output = block.removeprefix("$ ").split("\n", 1)
            found.append((command, output))
        else:
            found += [(line, "") for line in block.splitlines()]
    return found


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a fresh checkout in which the libraries are installed already."""
    made = tmp_path_factory.mktemp("checkout")
    for name in ("Makefile", "pyproject.toml"):
        shutil.copy(ROOT / name, made / name)
    shutil.copytree(EXAMPLES, made / "examples")
    shutil.copytree(ROOT / "service", made / "service", ignore=shutil.ignore_patterns("__pycache__"))
    (made / ".venv").mkdir()
    (made / ".venv" / "bin").symlink_to(Path(sys.executable).parent)
    (made / ".venv" / ".service").touch()
    return made


def test_all_commands_work_when_pasted_in_order_in_one_shell(folder: Path) -> None:
    """Each prints what the README shows below it."""
    need("bash")
    need("curl")
    port = str(free_port())
    lines = ["trap 'kill $(jobs -p)' EXIT"]
    for number, (command, _) in enumerate(commands()):
        own = command.replace(PORT, port).replace("gramwatt serve &", f"gramwatt serve --port {port} >/dev/null 2>&1 &")
        lines += [own, f'printf "%s\\n" "{END} {number} $?"']
    done = subprocess.run(
        ["bash", "-s"],
        input="\n".join(lines), cwd=folder, env=environment(PYTHONPATH=str(folder / "service"), COLUMNS="100"),
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    outputs = re.split(rf"{END} \d+ (\d+)\n", done.stdout)
    assert len(outputs) == 2 * len(commands()) + 1, done.stderr
    for (command, expected), output, status in zip(commands(), outputs[::2], outputs[1::2], strict=False):
        assert status == "0", f"{command}\n{output}\n{done.stderr}"
        if expected:
            assert output.rstrip("\n") == expected.rstrip("\n"), "run `make contract` and look at the diff"


def test_there_are_commands_of_every_use() -> None:
    text = "\n".join(command for command, _ in commands())
    for word in ("calc", "batch", "sweep", "chart", "curl"):
        assert word in text


def test_the_cell_requests_what_curl_requests() -> None:
    cell = re.search(r'WEBSERVICE\("([^"?]+)\?([^"]+)"\)', README)
    assert cell is not None
    assert any(cell[1] in command for command, _ in commands())


def test_the_python_session_is_real() -> None:
    session = re.search(r"```python\n((?:.|\n)*?)```", README)
    assert session is not None
    test = doctest.DocTestParser().get_doctest(session[1], {}, "README", "README.md", 0)
    assert test.examples
    assert doctest.DocTestRunner().run(test).failed == 0


def test_its_links_lead_somewhere() -> None:
    links = re.findall(r"\]\((?!https?:)([^)#]+)", README + (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"))
    assert links
    assert [link for link in links if not (ROOT / link).exists()] == []


def test_it_opens_with_the_job_and_is_short() -> None:
    assert README.split("\n\n")[1].startswith("You build, weigh, test-fly and report")
    own_lines = [line for line in README.splitlines() if not line.startswith("| `")]
    assert len(own_lines) < MAX_OWN_LINES


def test_paths_named_for_developers_exist() -> None:
    """Paths in backticks: below the package, the tests, or the checkout."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:[\w.-]+/)*[\w.-]+\.(?:py|toml|md|json|yaml|js)|(?:[\w-]+/)+)`", text))
    assert len(named) > 30
    roots = (
        ROOT,
        ROOT / "service",
        ROOT / "service" / "gramwatt",
        ROOT / "tests",
        ROOT / "service" / "gramwatt" / "web",
    )
    folders = [folder for root in roots for folder in (root, *root.glob("*/"))]
    examples = ("cable_drop.py", "NAME.manifest.json", "accuracy_NAME.py")
    known = {name for name in named if any((folder / name).exists() for folder in folders)}
    assert [name for name in sorted(named - known) if not name.endswith(examples)] == []
