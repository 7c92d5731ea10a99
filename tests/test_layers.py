"""Which part may know which library. A formula knows numpy and nothing of the web, of units or of validation."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import gramwatt

PACKAGE = Path(gramwatt.__file__).resolve().parent
MODULES = sorted(PACKAGE.rglob("*.py"))
WEB = {"flask", "werkzeug", "apispec", "yaml", "prometheus_client", "jinja2"}
ENGINE = {"pint", "marshmallow"}
CHARTS = {"matplotlib"}
OPTIONAL = {"polars", "pyarrow", "PIL", "dask", "distributed"}
AT_BUILD = {"pint", "apispec", "yaml"}
"""What only tests, `gramwatt check` and `gramwatt contract` need."""
SERVERS = {"gunicorn", "waitress", "uvicorn", "uvicorn_worker", "httptools", "uvloop"}
OF_FORMULAS = {"arrays", "blocks", "model", "physics", "calculators"}
FOR_FORMULAS = {"numpy", "gramwatt", *sys.stdlib_module_names}


def imported(module: Path) -> Iterator[tuple[str, int]]:
    """Every module that a file imports anywhere in it, and the line."""
    for node in ast.walk(ast.parse(module.read_bytes())):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}:{node.lineno}: imports are absolute"
            yield from ((f"{node.module}.{alias.name}", node.lineno) for alias in node.names)


def part(module: Path) -> str:
    """Return the first step into the package: web, engine, physics, server, ..."""
    return module.relative_to(PACKAGE).with_suffix("").parts[0]


def strangers(module: Path, libraries: set[str]) -> list[str]:
    """Return imports of those libraries, as file:line."""
    return [
        f"{module.relative_to(PACKAGE)}:{line}: {name}"
        for name, line in imported(module)
        if name.split(".")[0] in libraries
    ]


def test_there_is_something_to_look_at() -> None:
    assert {"web", "engine", "calculators", "physics", "server"} <= {part(module) for module in MODULES}
    assert any(strangers(module, WEB) for module in MODULES if part(module) == "web")
    assert any(strangers(module, ENGINE) for module in MODULES if part(module) == "engine")


@pytest.mark.parametrize("module", MODULES, ids=lambda module: str(module.relative_to(PACKAGE)))
def test_libraries_stay_where_they_belong(module: Path) -> None:
    # Workers' metrics are added up when they end, which gunicorn's settings say.
    web = WEB - {"prometheus_client"} if part(module) == "server" else WEB
    web = web - {"yaml"} if module.name == "craft_files.py" else web  # a craft document may be in YAML
    found = strangers(module, web) if part(module) != "web" else []
    # apispec reads marshmallow schemas through its own plug-in: its name in web/ is apispec's, not marshmallow's.
    found += strangers(module, ENGINE) if part(module) != "engine" else []
    found += strangers(module, CHARTS) if part(module) != "charts" else []
    found += strangers(module, SERVERS) if part(module) != "server" else []
    assert found == []


@pytest.mark.parametrize(
    "module",
    [module for module in MODULES if part(module) in OF_FORMULAS],
    ids=lambda module: str(module.relative_to(PACKAGE)),
)
def test_what_formulas_are_made_of_knows_numpy_alone(module: Path) -> None:
    found = [f"{line}: {name}" for name, line in imported(module) if name.split(".")[0] not in FOR_FORMULAS]
    found += [
        f"{line}: {name}" for name, line in imported(module) if name.startswith(("gramwatt.web", "gramwatt.engine"))
    ]
    assert found == []


@pytest.mark.parametrize(
    "module", [module for module in MODULES if part(module) in ("engine", "charts")], ids=lambda m: m.name
)
def test_neither_engine_nor_charts_know_the_web(module: Path) -> None:
    assert [name for name, _ in imported(module) if name.startswith("gramwatt.web")] == []
    if part(module) == "engine":
        assert [name for name, _ in imported(module) if name.startswith("gramwatt.charts")] == []


@pytest.mark.parametrize(
    "module", [module for module in MODULES if part(module) == "physics"], ids=lambda module: module.name
)
def test_physics_knows_only_physics(module: Path) -> None:
    own = [name for name, _ in imported(module) if name.startswith("gramwatt")]
    allowed = ("gramwatt.physics", "gramwatt.arrays")
    assert [name for name in own if not name.startswith(allowed)] == []


@pytest.mark.parametrize(
    ("statement", "absent"),
    [
        pytest.param("import gramwatt.calculators.pack_current", WEB, id="a-calculator-without-the-web"),
        pytest.param("import gramwatt", {"numpy", *ENGINE, *WEB, *OPTIONAL}, id="the-package"),
        pytest.param(
            "import gramwatt; gramwatt.calculate('pack-energy', cells=6, capacity=1)",
            WEB | ENGINE | CHARTS | OPTIONAL | AT_BUILD,
            id="the-library",
        ),
        pytest.param(
            "from gramwatt.__main__ import main\n"
            "main('calc pack-energy cells=6 capacity=1'.split(), standalone_mode=False)",
            WEB | ENGINE | CHARTS | OPTIONAL | AT_BUILD,
            id="the-command-line",
        ),
        pytest.param(
            "from gramwatt.web import create_app; create_app().test_client().get('/v1/pack-energy?cells=6&capacity=1')",
            ENGINE | CHARTS | OPTIONAL | AT_BUILD,
            id="the-service-until-its-first-answer",
        ),
    ],
)
def test_heavy_libraries_are_imported_when_they_are_used(statement: str, absent: set[str]) -> None:
    assert loaded_after(statement) & absent == set()


def test_model_and_physics_pull_in_neither_web_nor_units_nor_validation() -> None:
    names = "model", "physics.pack", "physics.cells", "physics.air", "physics.rotor", "physics.statistics"
    statement = "; ".join(f"import gramwatt.{name}" for name in names)
    assert loaded_after(statement) & (WEB | ENGINE | SERVERS) == set()


def loaded_after(statement: str) -> set[str]:
    """Return the top names of modules that a fresh interpreter holds after a statement."""
    code = f"import sys\n{statement}\nprint(' '.join({{name.split('.')[0] for name in sys.modules}}))"
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(shown.stdout.split())
