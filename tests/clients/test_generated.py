"""Clients that general tools generate from the contract: strictly compiled, and used against a running service."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from clients.running import environment, missing, need
from gramwatt import calculate
from gramwatt.engine.serializers import serialize_json
from gramwatt.web.openapi.document import build_document

NPM = Path(__file__).with_name("npm") / "node_modules"
UNTYPED = {"Missing schema", "Unsupported content type text/csv"}
"""What the Python generator has no type for: bodies of tables, recordings and forms that no schema describes."""


def run(*words: str, cwd: Path) -> str:
    """Run a command that must succeed, and return its output."""
    ran = subprocess.run(words, cwd=cwd, capture_output=True, text=True, timeout=300, env=environment(), check=False)
    assert ran.returncode == 0, ran.stdout[-3000:] + ran.stderr[-3000:]
    return ran.stdout + ran.stderr


@pytest.fixture(scope="module")
def folder(examples: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a copy of the example with today's contract."""
    made = tmp_path_factory.mktemp("clients") / "clients"
    shutil.copytree(examples / "clients", made)
    (made / "openapi.json").write_bytes(serialize_json(build_document()))
    return made


def expected() -> list[str]:
    """Return what the examples must print."""
    lines = []
    for power in ("120 W", "0.7 kW"):
        answer = calculate("pack-current", cells=6, capacity="1.3 Ah", pack_power=power, cell_resistance=8)
        lines.append(f"{power}: {answer['results']['pack_current']} A")
        lines += [f"  ! {caution['text']}" for caution in answer["cautions"]]
    return lines


def is_as_expected(printed: str) -> bool:
    *results, problem = printed.splitlines()
    return results == expected() and problem.startswith("9 bananas: 1 error: pack_power: ")


@pytest.mark.heavy
def test_a_python_client(service: str, folder: Path) -> None:
    """The generator warns of nothing but bodies without a schema; what it writes is strictly typed, and works."""
    output = run(
        *(sys.executable, "-m", "openapi_python_client", "generate", "--path", "openapi.json", "--meta", "none"),
        *("--output-path", "gramwatt_client", "--config", "openapi-python-client.yaml"),
        cwd=folder,
    )
    warned = re.findall(r"^WARNING parsing (\S+ \S+) [^\n]*\n+([^\n]+)", output, re.MULTILINE)
    assert {reason for _, reason in warned} == UNTYPED
    assert all(re.fullmatch(r"POST /(v1/[a-z-]+/(batch|log)|calculators/.*)", where) for where, _ in warned)
    # The generator casts where it need not; everything else of --strict holds.
    strict = ("--strict", "--disable-error-code", "redundant-cast", "--cache-dir", ".cache", "--config-file", "")
    run(sys.executable, "-m", "mypy", *strict, "current.py", "gramwatt_client", cwd=folder)
    assert is_as_expected(run(sys.executable, "-X", "utf8", "current.py", service, cwd=folder))


@pytest.mark.heavy
@pytest.mark.client("node")
def test_typescript_types(service: str, folder: Path) -> None:
    """They compile under --strict, a misspelt name does not, and the compiled example works."""
    if not (NPM / ".bin" / "tsc").exists():
        missing("typescript (npm install in tests/clients/npm)")
    node = need("node")
    run(node, str(NPM / "openapi-typescript" / "bin" / "cli.js"), "openapi.json", "-o", "gramwatt.d.ts", cwd=folder)
    (folder / "node_modules").symlink_to(NPM)
    options = "--strict --target es2022 --module nodenext --moduleResolution nodenext --types node"
    assert options in (folder / "README.md").read_text(encoding="utf-8")
    tsc = (node, str(NPM / "typescript" / "lib" / "tsc.js"), *options.split())
    run(*tsc, "current.mts", cwd=folder)
    assert is_as_expected(run(node, "current.mjs", service, cwd=folder))
    right = (folder / "current.mts").read_text(encoding="utf-8")
    for good, bad in (("cell_resistance: 8", "cel_resistance: 8"), ("results.pack_current", "results.amps")):
        assert good in right
        (folder / "wrong.mts").write_text(right.replace(good, bad), encoding="utf-8")
        ran = subprocess.run([*tsc, "--noEmit", "wrong.mts"], cwd=folder, capture_output=True, text=True, check=False)
        assert ran.returncode != 0
        assert "wrong.mts" in ran.stdout
