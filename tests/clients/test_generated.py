"""Clients that generators from PyPI and npm write from the contract: strictly compiled, and used on a live service."""

import re
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from clients.generating import (
    NPM,
    check_program,
    compile_typescript,
    copy_examples,
    need_node,
    need_npm,
    need_package,
    run,
)

UNTYPED = re.compile(
    r"Unsupported content type (text/csv|text/tab-separated-values|application/(x-ndjson|vnd\.apache\.arrow\.stream))"
    r"|Cannot parse response for status code [^\n]* \(Unsupported content_type \*/\*\)[^\n]*"
)
"""What openapi-python-client has no type for: tables and recordings as text, and what a page's form downloads."""
MODELS = (
    *(
        "--input-file-type",
        "openapi",
        "--output-model-type",
        "pydantic_v2.BaseModel",
        "--target-python-version",
        "3.11",
    ),
    *("--use-annotated", "--set-default-enum-member", "--capitalise-enum-members", "--formatters", "builtin"),
)
"""Options of datamodel-code-generator, as in the README of the examples."""


@pytest.mark.heavy
def test_python_clients(service: str, tmp_path: Path) -> None:
    """A client and models: the generators warn of nothing but text bodies, and what they write is strictly typed."""
    need_package("datamodel_code_generator")
    clients = copy_examples(tmp_path)
    folder = clients / "python"
    assert " ".join(MODELS) in " ".join((clients / "README.md").read_text(encoding="utf-8").split()).replace("\\ ", "")
    client = ("generate", "--path", "../openapi.json", "--meta", "none", "--output-path", "gramwatt_client")
    with ThreadPoolExecutor() as pool:
        made = [
            pool.submit(run, sys.executable, "-m", *words, cwd=folder)
            for words in (
                ("openapi_python_client", *client, "--config", "openapi-python-client.yaml"),
                ("datamodel_code_generator", "--input", "../openapi.json", "--output", "gramwatt_models.py", *MODELS),
            )
        ]
    warned = re.findall(r"^WARNING parsing (\S+ \S+) [^\n]*\n+([^\n]+)", made[0].result(), re.MULTILINE)
    made[1].result()
    assert warned
    assert [reason for _, reason in warned if not UNTYPED.fullmatch(reason)] == []
    assert all(re.fullmatch(r"POST /(v1/[a-z-]+/(batch|log)|calculators/.*)", where) for where, _ in warned)
    # One generator casts where it need not; everything else of --strict holds.
    strict = ("--strict", "--disable-error-code", "redundant-cast", "--cache-dir", ".cache", "--config-file", "")
    programs = ("typed_client.py", "models_only.py")
    run(sys.executable, "-m", "mypy", *strict, *programs, "gramwatt_client", "gramwatt_models.py", cwd=folder)
    for program in programs:
        check_program(sys.executable, program, service=service, cwd=folder)


@pytest.mark.heavy
def test_typescript_clients(service: str, tmp_path: Path) -> None:
    """Types, and two clients: they compile under --strict, where a misspelt name does not, and work."""
    need_npm("openapi-typescript", "@hey-api/openapi-ts", "orval", "typescript")
    node = need_node()
    folder = copy_examples(tmp_path) / "typescript"
    plugins = ("-p", "@hey-api/client-fetch", "@hey-api/typescript", "@hey-api/sdk")
    with ThreadPoolExecutor() as pool:
        made = [
            pool.submit(run, node, NPM / ".bin" / program, *words, cwd=folder, variables={"SERVICE": service})
            for program, words in (
                ("openapi-typescript", ("../openapi.json", "-o", "gramwatt.d.ts")),
                ("openapi-ts", ("-i", "../openapi.json", "-o", "hey-api", *plugins)),
                ("orval", ()),
            )
        ]
    for each in made:
        each.result()
    programs = ("openapi_typescript", "hey_api", "orval")
    compile_typescript(folder, *(f"{program}.ts" for program in programs))
    for program in programs:
        check_program(node, f"{program}.js", service=service, cwd=folder)
