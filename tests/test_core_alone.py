"""The service, the commands and the library without any extra: what works, and how the rest says what is missing."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any, Final

import pytest

from gramwatt.engine import registry
from gramwatt.engine.calculate import compute_response
from gramwatt.web import create_app

ABSENT: Final = ("pyarrow", "polars", "matplotlib", "PIL", "dask", "distributed")
ALONE: Final = f"import sys\nfor name in {ABSENT}:\n    sys.modules[name] = None\n"
"""An interpreter in which importing them fails as if they were not installed."""
PACK: Final = "/v1/pack-energy"
QUERY: Final = "?cells=6&capacity=1300"
NDJSON: Final = '{"cells": 6, "capacity": 1300}\n'
CSV: Final = "cells,capacity,id\n6,1300,a\n4,1.5 Ah,b\n6,x,c\n"
COLUMNAR: Final = "Arrow and Parquet files need pyarrow"
GRID: Final = ("sweep", "pack-energy", "--vary", "cells=3:6:4")
LOG: Final = "time,voltage,current\n" + "".join(f"{at},{16 - at / 100},{10 + at % 3}\n" for at in range(60))
REQUESTS: Final[dict[str, tuple[str, dict[str, Any]]]] = {
    "single": (PACK + QUERY, {}),
    "value": (f"{PACK}/usable_energy{QUERY}", {}),
    "csv": (f"{PACK}{QUERY}&format=csv", {}),
    "contract": ("/openapi.json", {}),
    "reference": ("/docs", {}),
    "metrics": ("/health/ready", {}),
    "batch-csv": (f"{PACK}/batch", {"data": CSV, "content_type": "text/csv"}),
    "batch-json": (f"{PACK}/batch", {"json": [{"cells": 6, "capacity": 1300}, {"cells": "six"}]}),
    "batch-ndjson": (
        f"{PACK}/batch",
        {"data": NDJSON, "content_type": "application/x-ndjson"},
    ),
    "sweep": (f"{PACK}/sweep?capacity=1300&vary=cells&from=3&to=6&count=4", {}),
    "log": ("/v1/flight-log/log", {"data": LOG, "content_type": "text/csv"}),
}
MISSING: Final[dict[str, tuple[str, dict[str, Any], str]]] = {
    "chart": (f"{PACK}/chart{QUERY}", {}, "charts"),
    "batch-to-arrow": (f"{PACK}/batch?format=arrow", {"data": CSV, "content_type": "text/csv"}, "tables"),
    "batch-from-arrow": (
        f"{PACK}/batch",
        {"data": b"\xff\xff\xff\xff", "content_type": "application/vnd.apache.arrow.stream"},
        "tables",
    ),
    "log-in-arrow": (
        "/v1/flight-log/log",
        {"data": b"\xff\xff\xff\xff", "content_type": "application/vnd.apache.arrow.stream"},
        "tables",
    ),
}
PROGRAM: Final = """
import json
from gramwatt import calculate
from gramwatt.web import create_app
client = create_app().test_client()
job = json.load(sys.stdin)
answers = {}
for name, (url, options) in job["requests"].items():
    if "data" in options:
        options["data"] = options["data"].encode("latin-1")
    got = client.open(url, method="POST" if options else "GET", **options)
    answers[name] = [got.status_code, got.content_type, got.get_data(as_text=True)]
answers["calculators"] = {name: calculate(name, **given)["results"] for name, given in job["calculators"].items()}
print(json.dumps(answers))
"""


def sent(options: dict[str, Any]) -> dict[str, Any]:
    data = options.get("data")
    return {**options, **({"data": data.decode("latin-1")} if isinstance(data, bytes) else {})}


@pytest.fixture(scope="module")
def alone() -> dict[str, Any]:
    """Return what one interpreter without the extras responds to all requests of this file."""
    requests = {name: (url, sent(options)) for name, (url, options) in REQUESTS.items()}
    requests |= {name: (url, sent(options)) for name, (url, options, _) in MISSING.items()}
    calculators = {name: dict(each.examples[0].given) for name, each in registry.load().items()}
    done = subprocess.run(
        [sys.executable, "-c", ALONE + PROGRAM],
        input=json.dumps({"requests": requests, "calculators": calculators}),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    made: dict[str, Any] = json.loads(done.stdout)
    return made


@pytest.mark.parametrize("name", REQUESTS)
def test_the_service_gives_the_same_bytes(alone: dict[str, Any], name: str) -> None:
    url, options = REQUESTS[name]
    with_all = create_app().test_client().open(url, method="POST" if options else "GET", **options)
    assert with_all.status_code == 200
    assert alone[name] == [200, with_all.content_type, with_all.get_data(as_text=True)]


@pytest.mark.parametrize("name", registry.list_names())
def test_every_calculator_computes_its_first_example(alone: dict[str, Any], name: str) -> None:
    expected = compute_response(registry.get(name), registry.get(name).examples[0].given)["results"]
    assert alone["calculators"][name] == json.loads(json.dumps(expected))


@pytest.mark.parametrize("name", MISSING)
def test_what_needs_an_extra_says_which(alone: dict[str, Any], name: str) -> None:
    status, media, text = alone[name]
    problem = json.loads(text)
    assert (status, media, problem["type"]) == (
        501,
        "application/problem+json",
        "http://localhost/problems/not-installed",
    )
    assert problem["detail"].endswith(f"which is not installed: pip install 'gramwatt[{MISSING[name][2]}]'.")


def gramwatt(*words: str, given: str = "") -> subprocess.CompletedProcess[str]:
    program = f"{ALONE}from gramwatt.__main__ import main\nmain({list(words)}, 'gramwatt')"
    return subprocess.run([sys.executable, "-c", program], input=given, capture_output=True, text=True, check=False)


@pytest.mark.parametrize(
    "words",
    [
        pytest.param(("--help",), id="help"),
        pytest.param(("calc", "pack-energy", "cells=6", "capacity=1300"), id="calc"),
        pytest.param(("batch", "pack-energy", "-"), id="batch"),
        pytest.param(("sweep", "pack-energy", "--vary", "cells=3:6:4", "capacity=1300"), id="sweep"),
        pytest.param(("sweep", "pack-energy", "--vary", "cells=3:6:4", "capacity=1300", "--best", "2"), id="best"),
        pytest.param(("check",), id="check"),
    ],
)
def test_commands_work(words: tuple[str, ...]) -> None:
    ended = gramwatt(*words, given=CSV.replace("6,x,c\n", ""))
    assert ended.returncode == 0, ended.stderr
    assert ended.stdout


@pytest.mark.parametrize(
    ("words", "need", "extra"),
    [
        pytest.param(("batch", "pack-energy", "-", "-o", "made.parquet"), COLUMNAR, "tables", id="to-parquet"),
        pytest.param(("batch", "pack-energy", "-", "--to", "arrow"), COLUMNAR, "tables", id="to-arrow"),
        pytest.param(("batch", "pack-energy", "-", "--from", "parquet"), COLUMNAR, "tables", id="from-parquet"),
        pytest.param((*GRID, "capacity=1300", "-o", "made.parquet"), COLUMNAR, "tables", id="grid-to-parquet"),
        pytest.param((*GRID, "--jobs", "2"), "Runs in parts (--jobs) need pyarrow", "tables", id="by-parts"),
        pytest.param(
            ("chart", "pack-energy", "cells=6", "capacity=1300", "-o", "made.svg"),
            "Charts need matplotlib",
            "charts",
            id="chart",
        ),
        pytest.param(
            ("calc", "overlay-cues", "--log", "-", "picture_time=1", "--format", "png"),
            "Captions as PNG need Pillow",
            "charts",
            id="captions-to-png",
        ),
        pytest.param(
            (*GRID, "capacity=1300", "--scheduler", "tcp://127.0.0.1:9"),
            "Runs in parts (--scheduler) need pyarrow",
            "cluster",
            id="scheduler",
        ),
    ],
)
def test_commands_say_what_is_missing(
    words: tuple[str, ...], need: str, extra: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    ended = gramwatt(*words, given=LOG if "--log" in words else CSV)
    assert ended.returncode == 2, ended.stdout + ended.stderr
    assert ended.stderr.endswith(f"{need}, which is not installed: pip install 'gramwatt[{extra}]'\n")
    assert ended.stderr.count("\n") == 1
    assert not list(tmp_path.iterdir())
