"""Clients that openapi-generator writes from the contract: strictly compiled, and used on a live service."""

import re
import sys
from pathlib import Path

import pytest

from clients.generating import check_program, compile_typescript, copy_examples, need_node, need_npm, need_package, run
from clients.running import missing, need

JVM = ("-XX:TieredStopAtLevel=1", "-XX:+UseSerialGC")
"""A short run is faster without the second compiler and with one collector."""
ANNOTATIONS = Path("/usr/share/java/jakarta-annotation-api.jar")
GO_BUILD = ("-gcflags", "all=-N -l -dwarf=false", "-ldflags", "-s -w")
"""Compile faster, without optimisation and tables for debuggers: the standard library too."""
UNTYPED = ("no-untyped-def", "no-untyped-call", "no-any-return", "import-untyped", "attr-defined", "arg-type")
"""What the generator's own Python leaves unchecked, whatever the contract."""

UNIMPORTED = re.compile(r'Name "List" is not defined')
"""The generator forgets this import where only an annotation that is never evaluated needs it."""


def check_python(folder: Path, service: str) -> None:
    relaxed = [word for code in UNTYPED for word in ("--disable-error-code", code)]
    strict = ("--strict", *relaxed, "--cache-dir", ".cache", "--config-file", "")
    checked = ("openapi_generator.py", "gramwatt_generated")
    output = run(sys.executable, "-m", "mypy", *strict, *checked, cwd=folder, succeeds=False)
    assert [line for line in output.splitlines() if ": error: " in line and not UNIMPORTED.search(line)] == []
    assert re.search(r"checked \d+ source files", output)
    check_program(sys.executable, "openapi_generator.py", service=service, cwd=folder)


def check_typescript(folder: Path, service: str) -> None:
    need_npm("typescript")
    compile_typescript(folder, "openapi_generator.ts")
    check_program(need_node(), "openapi_generator.js", service=service, cwd=folder)


def check_java(folder: Path, service: str, library: Path) -> None:
    """Compile with the generator's jar, which has the libraries that its Java client needs, but for the annotations."""
    if not ANNOTATIONS.exists():
        missing("libjakarta-annotation-api-java")
    libraries = f"{library}:{ANNOTATIONS}"
    sources = [str(path.relative_to(folder)) for path in (folder / "generated" / "src" / "main").rglob("*.java")]
    compiler = (need("javac"), *(f"-J{option}" for option in JVM), "-proc:none", "-cp", libraries, "-d", "build")
    run(*compiler, "Packs.java", *sources, cwd=folder)
    check_program(need("java"), *JVM, "-cp", f"build:{libraries}", "Packs", service=service, cwd=folder)


def check_go(folder: Path, service: str) -> None:
    root = need_package("go")
    go = root / "bin" / "go"
    settings = {
        "GOROOT": str(root),
        "GOCACHE": str(folder / ".cache"),
        "GOPATH": str(folder / ".path"),
        "GOTOOLCHAIN": "local",
        "GOPROXY": "off",
        "CGO_ENABLED": "0",
    }
    run(go, "mod", "init", "example.org/packs", cwd=folder, variables=settings)
    run(go, "build", *GO_BUILD, "-o", "packs", cwd=folder, variables=settings)
    check_program("./packs", service=service, cwd=folder)


@pytest.mark.heavy
def test_openapi_generator(service: str, tmp_path: Path, subtests: pytest.Subtests) -> None:
    """One run of the generator writes all clients; those with a compiler here are compiled, and used."""
    library = need_package("openapi_generator_cli") / "openapi-generator.jar"
    clients = copy_examples(tmp_path)
    configurations = sorted(path.relative_to(clients) for path in clients.glob("*/openapi-generator.yaml"))
    assert [path.parts[0] for path in configurations] == ["csharp", "go", "java", "python", "typescript"]
    generator = (need("java"), *JVM, "-jar", library, "batch", "--fail-fast", "--threads", "2")
    assert "[SUCCESS] Batch generation finished 5 generators" in run(*generator, *configurations, cwd=clients)
    with subtests.test("C#"):
        made = clients / "csharp" / "generated" / "src" / "Gramwatt" / "Api" / "PackEnergyApi.cs"
        assert "CalculatePackEnergyFromJsonAsync(" in made.read_text(encoding="utf-8")
    with subtests.test("Python"):
        check_python(clients / "python", service)
    with subtests.test("TypeScript"):
        check_typescript(clients / "typescript", service)
    with subtests.test("Java"):
        check_java(clients / "java", service, library)
    with subtests.test("Go"):
        check_go(clients / "go", service)
