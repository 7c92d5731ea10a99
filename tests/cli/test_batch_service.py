"""gramwatt batch --url: a running service answers as the command itself does, byte for byte, in bounded memory."""

from __future__ import annotations

import http.server
import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner, Result

from gramwatt.__main__ import main
from gramwatt.cli.counting import count_rows
from gramwatt.cli.progress import RunSummary
from gramwatt.cli.remote import format_problem
from web.conftest import running

WORDS = ("plain", '"with, comma"', "=sum(1)", '"two\nlines"', '"a ""quoted"" word"', "")


@pytest.fixture(scope="module")
def service() -> Iterator[str]:
    with running() as (port, _):
        yield f"http://127.0.0.1:{port}"


@pytest.fixture(scope="module")
def table(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Rows of all sorts, in more than one chunk; 1,250 are invalid, which is more than are reported in full."""
    lines = ["id,cells,pack_power,capacity,note"]
    for row in range(20_000):
        power = "much" if row % 16 == 7 else f"{10 + row % 800}{' W' if row % 3 else ''}"
        lines.append(f"r{row},{2 + row % 5},{power},{'1.5 Ah' if row % 7 else 1300},{WORDS[row % 6]}")
    path = tmp_path_factory.mktemp("tables") / "table.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def run(*arguments: object, body: bytes | None = None) -> Result:
    return CliRunner().invoke(main, ["batch", *map(str, arguments)], input=body)


def output(result: Result) -> str:
    """Return the line at the end, without the name of the file."""
    return result.stderr.partition(": ")[0]


@pytest.mark.parametrize(
    "options",
    [
        pytest.param((), id="plain"),
        pytest.param(("--header", "off", "--digits", "4"), id="no-header"),
        pytest.param(("--header", "names", "--given", "--uncertainty", "--units", "pack_current:mA"), id="wide"),
        pytest.param(("--set", "chemistry=lihv"), id="constant"),
    ],
)
@pytest.mark.parametrize("to", ["csv", "tsv", "ndjson", "json"])
def test_both_ways_give_the_same_bytes(
    to: str, options: tuple[str, ...], service: str, table: Path, tmp_path: Path
) -> None:
    if to.endswith("json") and options[:1] == ("--header",):
        options = options[2:]
    here = run("pack-current", table, "--to", to, "-o", tmp_path / "here", *options)
    there = run("pack-current", table, "--to", to, "-o", tmp_path / "there", *options, "--url", service)
    assert here.exit_code == there.exit_code == 1, there.stderr
    assert output(here) == output(there) == "18,750 rows computed, 1,250 invalid"
    assert (tmp_path / "here").read_bytes() == (tmp_path / "there").read_bytes()


@pytest.mark.parametrize("to", [".arrows", ".arrow", ".parquet"])
@pytest.mark.parametrize("form", [".csv", ".arrows", ".arrow", ".parquet", ".ndjson"])
def test_columns_go_both_ways_too(form: str, to: str, service: str, tmp_path: Path) -> None:
    source = tmp_path / f"table{form}"
    _write(source)
    here = run("pack-current", source, "-o", tmp_path / f"here{to}")
    there = run("pack-current", source, "-o", tmp_path / f"there{to}", "--url", service)
    assert here.exit_code == there.exit_code == 1, there.stderr
    assert output(here) == output(there) == "12,000 rows computed, 12,000 invalid"
    assert _read(tmp_path / f"here{to}").equals(_read(tmp_path / f"there{to}"))
    assert _read(tmp_path / f"there{to}").num_rows == 24_000


def _write(path: Path) -> None:
    """Write 24,000 rows, every other one invalid."""
    many = 12_000
    inputs = pa.table(
        {
            "id": ["a", "b"] * many,
            "cells": [6, 6] * many,
            "pack_power": [500, -1] * many,
            "capacity": [1300.0] * 2 * many,
        }
    )
    match path.suffix:
        case ".parquet":
            pq.write_table(inputs, path)
        case ".csv":
            path.write_text("id,cells,pack_power,capacity\n" + "a,6,500,1300\nb,6,-1,1300\n" * many, encoding="utf-8")
        case ".ndjson":
            path.write_text("".join(json.dumps(row) + "\n" for row in inputs.to_pylist()), encoding="utf-8")
        case suffix:
            make = pa.ipc.new_stream if suffix == ".arrows" else pa.ipc.new_file
            with pa.OSFile(str(path), "wb") as sink, make(sink, inputs.schema) as stream:
                stream.write_table(inputs, max_chunksize=9_000)


def _read(path: Path) -> pa.Table:
    match path.suffix:
        case ".parquet":
            return pq.read_table(path)
        case ".arrows":
            return pa.ipc.open_stream(path.read_bytes()).read_all()
        case _:
            return pa.ipc.open_file(path.read_bytes()).read_all()


@pytest.mark.parametrize("to", ["csv", "ndjson", "json", "arrow"])
def test_a_truncated_table_gives_the_same_message(to: str, service: str, tmp_path: Path) -> None:
    whole = tmp_path / "whole.arrows"
    inputs = pa.table({"cells": [6] * 3, "pack_power": [500.0] * 3, "capacity": [1300.0] * 3})
    with pa.OSFile(str(whole), "wb") as sink, pa.ipc.new_stream(sink, inputs.schema) as stream:
        stream.write_table(inputs)
        stream.write_table(inputs)
    whole.write_bytes(whole.read_bytes()[:-100])
    here = run("pack-current", whole, "--to", to, "-o", tmp_path / "here")
    there = run("pack-current", whole, "--to", to, "-o", tmp_path / "there", "--url", service)
    assert here.exit_code == there.exit_code == 1
    assert here.stderr.replace("here", "") == there.stderr.replace("there", "")
    assert here.stderr.startswith("3 rows computed, 0 invalid: ")
    assert "the table ended early" in here.stderr
    assert (tmp_path / "here").read_bytes() == (tmp_path / "there").read_bytes()


@pytest.mark.parametrize(
    ("arguments", "body", "expected_text"),
    [
        pytest.param(["pack-curent"], b"cells\n6\n", ["pack-curent", "pack-current"], id="calculator"),
        pytest.param(["pack-current"], b"cels\n6\n", ["cels: ", "capacity: ", "accepted: "], id="every-fault"),
        pytest.param(["pack-current"], b"", ["empty"], id="an-empty-table"),
        pytest.param(["pack-current", "--units", "current:kg"], b"cells\n6\n", ["units: "], id="unit"),
    ],
)
def test_a_problem_lists_every_error(
    arguments: list[str], body: bytes, expected_text: list[str], service: str, tmp_path: Path
) -> None:
    result = run(*arguments, "-", "-o", tmp_path / "out.csv", "--url", service, body=body)
    assert (result.exit_code, result.stdout) == (2, "")
    assert all(each in result.stderr for each in expected_text), result.stderr
    assert list(tmp_path.iterdir()) == []


def test_an_address_may_have_a_path_and_a_slash() -> None:
    with _other_server(_Echo) as port:
        result = run("pack-current", "-", "--url", f"http://127.0.0.1:{port}/under/", body=b"cells\n6\n")
    assert result.exit_code == 2
    assert "POST /under/v1/pack-current/batch?" in result.stderr


class _Echo(http.server.BaseHTTPRequestHandler):
    """Something else that listens there."""

    protocol_version = "HTTP/1.1"

    def do_POST(self) -> None:
        while self.rfile.readline() != b"0\r\n":
            pass
        self.rfile.readline()
        output_text = f"what is {self.requestline}".encode()
        self.send_response(404)
        self.send_header("Content-Length", str(len(output_text)))
        self.end_headers()
        self.wfile.write(output_text)

    def log_message(self, *arguments: object) -> None:
        """Quietly."""


class _Breaks(_Echo):
    """A service that dies in the middle of a response."""

    def do_POST(self) -> None:
        self.send_response(200)
        self.send_header("Transfer-Encoding", "chunked")
        self.end_headers()
        self.wfile.write(b"64\r\nid,current [A]\r\n")
        self.close_connection = True


@contextmanager
def _other_server(handler: type[http.server.BaseHTTPRequestHandler]) -> Iterator[int]:
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
        yield server.server_port
        server.shutdown()


def test_a_service_that_dies_leaves_no_half_table(tmp_path: Path) -> None:
    with _other_server(_Breaks) as port:
        url = f"http://127.0.0.1:{port}"
        result = run("pack-current", "-", "-o", tmp_path / "out.csv", "--url", url, body=b"cells\n6\n")
    assert result.exit_code == 2
    assert "the connection failed" in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_what_is_no_problem_of_ours_is_shown() -> None:
    assert format_problem(502, b"<html>bad gateway").startswith("the server is not Gramwatt; it responded 502")
    assert "bad gateway" in format_problem(502, b"<html>bad gateway")
    assert format_problem(404, b'{"detail": "There is nothing."}') == "There is nothing."


def test_rows_are_counted_however_the_bytes_are_cut() -> None:
    text = (
        b'id,current,error\r\na,1,\r\n"b, ""c""\r\n,",2,"row 2: x, y"\r\nd,3,\r\n'
        b",,#ERR malformed-request after row 3: gone\r\n"
    )
    for size in range(1, len(text) + 1):
        pieces = [text[at : at + size] for at in range(0, len(text), size)]
        ending = RunSummary()
        assert b"".join(count_rows(iter(pieces), "csv", ending, separator=",", header=True)) == text
        assert (ending.rows, ending.invalid, ending.failure) == (3, 1, "gone")
    lines = (
        b'[\n{"id":"\\"error\\":{"},\n{"error":{"row":2,"detail":"x"}},\n{"note":{"error":{"row":1}}},\n'
        b'{"error":{"row":3,"type":"/problems/x","detail":"gone"}}\n]\n'
    )
    for size in range(1, len(lines) + 1):
        pieces = [lines[at : at + size] for at in range(0, len(lines), size)]
        ending = RunSummary()
        assert b"".join(count_rows(iter(pieces), "json", ending, separator=",", header=True)) == lines
        assert (ending.rows, ending.invalid, ending.failure) == (3, 1, "gone")


def test_rows_come_back_while_others_are_still_to_be_sent(service: str, tmp_path: Path) -> None:
    command = [sys.executable, "-m", "gramwatt", "batch", "pack-current", "-", "--url", service, "--no-progress"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write(b"id,cells,pack_power,capacity\n" + b"a,6,500,1300\n" * 700_000)
        process.stdin.flush()
        os.set_blocking(process.stdout.fileno(), False)
        received, tries = b"", 0
        while not received:
            received = process.stdout.read(65536) or b""
            tries += 1
            assert tries < 6000, "no row came back"
            time.sleep(0.01)
        os.set_blocking(process.stdout.fileno(), True)
        rest: list[bytes] = []
        reader = threading.Thread(target=lambda: rest.append(process.stdout.read() if process.stdout else b""))
        reader.start()
        process.stdin.write(b"z,6,500,1300\n")
        process.stdin.close()
        reader.join()
        assert process.wait(60) == 0
    rows = (received + rest[0]).splitlines()
    assert len(rows) == 700_002
    assert rows[-1].startswith(b"z,")


@pytest.mark.parametrize(("header", "status"), [(b"cells,pack_power,capacity\n", 130), (b"cels,pack_power\n", 2)])
def test_an_end_while_more_is_to_come_is_clean(header: bytes, status: int, service: str, tmp_path: Path) -> None:
    """Ctrl+C, and a header that is rejected, while a thread waits for standard input."""
    arguments = ["batch", "pack-current", "-", "-o", str(tmp_path / "out.csv"), "--url", service]
    command = [sys.executable, "-m", "gramwatt", *arguments]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdin is not None
        assert process.stderr is not None
        process.stdin.write(header + b"6,500,1300\n" * 700_000)
        process.stdin.flush()
        if status == 130:
            while not any(path.stat().st_size for path in tmp_path.iterdir()):
                assert process.poll() is None
                time.sleep(0.01)
            process.send_signal(signal.SIGINT)
            assert process.wait(60) == status
        else:
            process.stdin.close()
            assert process.wait(60) == status
        output_text = process.stderr.read().decode()
    assert "Fatal" not in output_text
    assert "Traceback" not in output_text
    assert list(tmp_path.iterdir()) == []


@pytest.mark.heavy
def test_memory_does_not_grow_with_the_table(service: str, tmp_path: Path) -> None:
    """A million and a half rows by a service: 100 MB of answers."""
    table = tmp_path / "table.csv"
    table.write_bytes(b"cells,pack_power,capacity\n" + b"6,500,1300\n" * 1_500_000)
    code = (
        "import resource, subprocess, sys; subprocess.run(sys.argv[1:], check=True); "
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024)"
    )
    arguments = [sys.executable, "-m", "gramwatt", "batch", "pack-current", table, "-o", tmp_path / "out.csv"]
    command = [sys.executable, "-c", code, *map(str, arguments), "--url", service]
    shown = subprocess.run(command, capture_output=True, check=True)
    assert (tmp_path / "out.csv").read_bytes().count(b"\n") == 1_500_001
    assert int(shown.stdout) < 250
