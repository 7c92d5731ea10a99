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

from clients.running import EXAMPLES, environment, need

ROOT: Final = Path(__file__).resolve().parents[2]
README: Final = (ROOT / "README.md").read_text(encoding="utf-8")
ADDRESS: Final = "http://127.0.0.1:8000"
BLOCKS: Final = re.findall(r"```(console|sh)\n((?:.|\n)*?)```", README)
BY_MAKE: Final = re.compile(r"make \w+ +#")
MAX_LINES: Final = 150


def commands() -> list[tuple[str, str]]:
    """Return each command in order, with the output that the README shows for it, if it shows one."""
    found = []
    for kind, block in BLOCKS:
        if kind == "console":
            command, output = block.removeprefix("$ ").split("\n", 1)
            found.append((command, output))
        else:
            found += [(line, "") for line in block.splitlines() if not BY_MAKE.match(line)]
    return found


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder that looks like a checkout after `make serve`."""
    made = tmp_path_factory.mktemp("checkout")
    shutil.copytree(EXAMPLES, made / "examples")
    (made / ".venv").mkdir()
    (made / ".venv" / "bin").symlink_to(Path(sys.executable).parent)
    return made


@pytest.mark.parametrize(("command", "output"), commands(), ids=[command[:50] for command, _ in commands()])
def test_a_command_works_and_prints_what_the_readme_shows(
    command: str, output: str, folder: Path, service: str
) -> None:
    need("bash")
    if command.startswith("curl"):
        need("curl")
    done = subprocess.run(
        ["bash", "-c", command.replace(ADDRESS, service)],
        cwd=folder, env=environment(), capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    if output:
        assert done.stdout.rstrip("\n") == output.rstrip("\n"), "run `make contract` and look at the diff"


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
    assert len(README.splitlines()) < MAX_LINES


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
    examples = ("wire_drop.py", "NAME.manifest.json", "accuracy_NAME.py")
    known = {name for name in named if any((folder / name).exists() for folder in folders)}
    assert [name for name in sorted(named - known) if not name.endswith(examples)] == []
