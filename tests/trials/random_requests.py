"""Random requests over every route, method and encoding; the same seed gives the same ones.

Requests start from the examples of the calculators, so that many are nearly valid, and are then damaged: values
swapped for odd ones, names changed, bytes flipped, headers and encodings mixed.
"""

from __future__ import annotations

import io
import json
import random
from collections.abc import Mapping
from typing import Any, Final
from urllib.parse import quote, urlencode

import pyarrow as pa

from gramwatt.engine import registry
from trials.requests import ARROW, CSV, FORM, JSON, MULTIPART, NDJSON, Request, get, post, post_json

ARROW_SHARE: Final = 0.04
METHODS: Final = ("GET", "POST", "HEAD", "OPTIONS", "PUT", "DELETE", "PATCH", "TRACE", "QUERY")
ACCEPTS: Final = (
    "*/*", JSON, CSV, NDJSON, ARROW, "text/plain", "image/png", "image/svg+xml", "text/html", "", ";;", "a/b;q=x",
    "text/vtt", "*/*;q=0", "application/problem+json", "application/json;q=0.1,text/csv;q=0.9",
)  # fmt: skip
ENCODINGS: Final = ("gzip", "br", "zstd", "identity", "chunked", "\x80")
TYPES: Final = (
    JSON, CSV, NDJSON, ARROW, "text/plain", "application/json; charset=utf-16", "text/csv; charset=x", MULTIPART,
    "multipart/form-data", FORM, "", "a/b", "text/csv; header=absent",
)  # fmt: skip
ODD: Final[tuple[Any, ...]] = (
    None, True, "", " ", "x", "NaN", "Infinity", "-1", "1e999", "1e-320", "9" * 400, "1,5", "1.5 V", "12 ± 1", "± 1",
    "1 ±", "1 x", "=1+1", "\u0000", "\ud800", "\uff1d1", "1_000", "\uff11\uff12", "４S", [], {}, [1, 2], [[1]],
    {"a": 1}, 0, -1, 1e308, 5e-324, 2**63, 2**70, "a" * 3000, "\n", "'; --", "<script>", "%00", "../..", [None], [{}],
    {"time": [0], "voltage": [1], "current": [1]}, "1 ± 1e12", "1 ± 1 %", "-0", -0.0, "½", "1e5 mAh", "0x10", "1;2",
)  # fmt: skip
OPTIONS: Final[Mapping[str, tuple[str, ...]]] = {
    "units": ("pack_power:kW", "x:y", "pack_current:mA,pack_current:A", "", ":"), "working": ("true", "x", ""),
    "format": ("csv", "json", "ndjson", "arrow", "png", "svg", "vtt", "srt", "ass", "txt", "x"),
    "digits": ("3", "0", "99", "x"), "decimal": (",", ".", "x"), "header": ("off", "names", "x"),
    "vary": ("pack_power", "cells", "x", ""), "values": ("1,2", "", "x"), "from": ("1", "x", "1e308"),
    "to": ("9", "-1", "NaN"), "count": ("3", "0", "1000000000", "2.5", "500"), "keep": ("*", "a,b"),
    "sep": ("tab", ";", "x"),
    "best": ("1", "1000", "-1", "x"), "by": ("pack_current", "usable_energy", "x"), "ascending": ("true",),
    "errors": ("text", "status", "x"), "unit": ("kJ", "x"), "theme": ("dark", "auto", "x"),
    "shape": ("wide", "narrow", "x"), "ground": ("paper", "none", "x"), "scale": ("1", "4", "99", "0"),
    "title": ("false",), "show": ("pack_current", "x", ","), "uncertainty": ("true", "x"), "given": ("true",),
    "picture_time": ("0", "1.5", "-1", "1e9", "x"), "video_width": ("320", "8192", "0", "x"),
    "video_height": ("180", "x"),
    "part": ("answer", "x"), "frame_rate": ("60", "30000/1001", "0/0"), "video_end_time": ("2", "1e6"), "": ("", "x"),
}  # fmt: skip
PATHS: Final = (
    "/", "/v1", "/v1/units", "/openapi.json", "/openapi.yaml", "/docs", "/docs/x", "/docs/list_units",
    "/problems/invalid-input", "/problems/x", "/health/live", "/health/ready", "/metrics", "/gramwatt.js",
    "/gramwatt/1.0.js", "/static/x", "/static/page.js", "/static/../x", "/v1/%00", "/v1/../..", "//",
    "/v1/pack-energy/", "/calculators/x", "/v1/x/y/z", "/%ff", "/calculators", "/favicon.ico", "/robots.txt",
    "/v1/pack_energy", "/reference", "/reference/pack-energy", "/reference/x",
    "/docs/schemas/Problem", "/docs/schemas/x",
)  # fmt: skip
ARROW_TYPES: Final = (
    pa.int8(), pa.uint64(), pa.float16(), pa.float32(), pa.string(), pa.large_string(), pa.string_view(), pa.binary(),
    pa.bool_(), pa.null(), pa.date32(), pa.date64(), pa.timestamp("s"), pa.timestamp("ns", "UTC"), pa.time32("s"),
    pa.time64("us"), pa.duration("ms"), pa.decimal128(38, 4), pa.decimal256(70, 0), pa.list_(pa.float64()),
    pa.struct([("x", pa.int8())]), pa.map_(pa.string(), pa.int8()), pa.dictionary(pa.int8(), pa.string()),
)  # fmt: skip
HEADERS: Final[Mapping[str, tuple[float, tuple[str, ...]]]] = {
    "Accept": (0.2, ACCEPTS),
    "Accept-Encoding": (
        0.3,
        ("gzip", "gzip, deflate, br, zstd", "gzip;q=0", "*", "identity;q=0", ", " * 500, "\x7f", ""),
    ),
    "Content-Type": (0.05, TYPES),
    "Content-Encoding": (0.03, ENCODINGS),
    "If-None-Match": (0.05, ('"x"', "*", 'W/"x"', '"', "")),
    "X-Request-ID": (0.03, ("x", "\x7f", "a" * 500, "11111111-1111-4111-8111-111111111111")),
    "Range": (0.03, ("bytes=0-1", "bytes=9-1", "bytes=-1", "bytes=99999999-", "bytes=0-0,2-3", "items=0-1", "x")),
    "If-Range": (0.01, ('"x"', 'W/"x"', "Thu, 01 Jan 1970 00:00:00 GMT", "x")),
    "X-Forwarded-For": (0.02, ("1.2.3.4", "x", "," * 100)),
    "X-Forwarded-Proto": (0.02, ("https", "x", "")),
    "If-Modified-Since": (0.02, ("Thu, 01 Jan 1970 00:00:00 GMT", "x")),
    "Expect": (0.01, ("100-continue", "x")),
    "Origin": (0.02, ("http://example.org", "null")),
    "Access-Control-Request-Method": (0.01, ("POST", "x")),
    "Authorization": (0.01, ("Basic x", "x")),
    "Cookie": (0.01, ("a=b", ";;=")),
    "Accept-Language": (0.01, ("de;q=0.5", ";;;")),
}
"""Header fields with the share of requests that have them, and the values."""


class RequestMaker:
    """Makes random requests."""

    def __init__(self, seed: int) -> None:
        self._random = random.Random(seed)
        self._calculators = list(registry.load().values())

    def make(self) -> Request:
        """Make the next request."""
        pick = self._random
        if pick.random() < ARROW_SHARE:
            return self._arrow()
        kind = pick.choice((self._single, self._single, self._value, self._table, self._sweep, self._page, self._log,
                            self._path))  # fmt: skip
        request = self._swept_body() if pick.random() < 0.03 else kind()
        if pick.random() < 0.1:
            request = Request(pick.choice(METHODS), request.target, request.body, request.headers)
        if pick.random() < 0.05 and request.body:
            request = Request(request.method, request.target, self._damaged(request.body), request.headers)
        return Request(
            request.method,
            request.target,
            request.body,
            {**request.headers, **self._headers(has_body=bool(request.body))},
        )

    def make_raw(self) -> bytes:
        """Make bytes that are nearly a request: a damaged head, broken chunks, several requests in one."""
        pick, request = self._random, self.make()
        body = request.body or b""
        if pick.random() < 0.4:
            sizes = [pick.choice((b"1", b"a", b"7fffffff", b"ffffffffffffffff1", b"-1", b"x", b"")) for _ in range(3)]
            framing = b"Transfer-Encoding: " + pick.choice((b"chunked", b"gzip, chunked", b"x", b"chunked, chunked"))
            body = b"".join(size + b"\r\n" + body[:10] + b"\r\n" for size in sizes) + b"0\r\n\r\n"
        else:
            length = pick.choice((*[str(len(body))] * 12, "-1", "+1", "x", "9" * 30, "1, 2", ""))
            framing = b"Content-Length: " + length.encode()
        target = request.target.encode("ascii", "replace").replace(b" ", b"%20")
        host = pick.choice((*[b"Host: localhost"] * 8, b"Host: a b", b"Host:", b"X: y"))
        version = pick.choice((*[b"HTTP/1.1"] * 8, b"HTTP/1.0", b"HTTP/9.9", b"HTTP/2.0", b""))
        end = pick.choice((*[b"\r\n"] * 6, b"\n", b"\r"))
        head = end.join((b" ".join((request.method.encode(), target, version)), host, framing, b"", b""))
        raw = head + body
        return (self._damaged(raw) if pick.random() < 0.4 else raw) * pick.choice((1, 1, 1, 3))

    def _inputs(self) -> tuple[str, dict[str, Any]]:
        pick = self._random
        calculator = pick.choice(self._calculators)
        inputs: dict[str, Any] = dict(pick.choice(calculator.examples).given)
        for name in list(inputs):
            value = inputs[name]
            if pick.random() < 0.12:
                inputs[name] = pick.choice(ODD)
            elif pick.random() < 0.05:
                del inputs[name]
            elif isinstance(value, int | float) and pick.random() < 0.5:
                inputs[name] = value * pick.choice((0.5, 0.99, 1, 1.01, 2, 1e6, -1))
            elif isinstance(value, list) and value and isinstance(value[0], dict) and pick.random() < 0.3:
                row = {**pick.choice(value)}
                row[pick.choice([*row, "x"])] = pick.choice(ODD)
                inputs[name] = [*value[1:], row] * pick.choice((1, 1, 3, 30))
        if pick.random() < 0.1:
            inputs[pick.choice(("powr", "4S", "x" * 200, "", "é", "a.b", "__proto__"))] = pick.choice(ODD)
        return calculator.name, inputs

    def _options(self, likelihood: float) -> str:
        chosen = {
            name: self._random.choice(words) for name, words in OPTIONS.items() if self._random.random() < likelihood
        }
        return urlencode(chosen)

    def _query(self, inputs: Mapping[str, Any], options: str = "") -> str:
        pairs = [(name, value if isinstance(value, str) else json.dumps(value)) for name, value in inputs.items()]
        if self._random.random() < 0.03 and pairs:
            pairs.append(self._random.choice(pairs))
        query = urlencode(pairs, errors="surrogatepass", quote_via=quote)
        return f"{query}&{options}"[:12000]

    def _single(self) -> Request:
        name, inputs = self._inputs()
        options = self._options(0.03)
        if self._random.random() < 0.5:
            return get(f"/v1/{name}?{self._query(inputs, options)}")
        return post_json(f"/v1/{name}?{options}", inputs)

    def _value(self) -> Request:
        name, inputs = self._inputs()
        results = [*registry.get(name).result_fields, "x", "batch", "log"]
        return get(f"/v1/{name}/{self._random.choice(results)}?{self._query(inputs, self._options(0.05))}")

    def _table(self) -> Request:
        pick = self._random
        name, inputs = self._inputs()
        rows = [
            {input_name: pick.choice((value, value, value, pick.choice(ODD))) for input_name, value in inputs.items()}
            for _ in range(pick.randrange(4))
        ] * pick.choice((1, 1, 1, 50))
        form = pick.choice((JSON, NDJSON, CSV))
        if form == JSON:
            text = json.dumps(rows)
        elif form == NDJSON:
            text = pick.choice(("\n", "\r\n", "\n\n")).join(json.dumps(row) for row in rows)
        else:
            separator = pick.choice((",", ",", ";", "\t"))
            lines = [inputs, *(row.values() for row in rows)]
            text = pick.choice(("\n", "\r\n", "\r")).join(separator.join(map(str, line)) for line in lines)
        return post(f"/v1/{name}/batch?{self._options(0.05)}", text.encode("utf-8", "surrogatepass"), form)

    def _sweep(self) -> Request:
        name, inputs = self._inputs()
        numbers = [key for key, value in inputs.items() if isinstance(value, int | float)] or ["pack_power"]
        varied = {"vary": self._random.choice(numbers), "from": "1", "to": "10", "count": "3"}
        what = "chart" if self._random.random() < 0.1 else "sweep"
        return get(f"/v1/{name}/{what}?{self._query({**inputs, **varied}, self._options(0.04))}")

    def _swept_body(self) -> Request:
        pick = self._random
        name, inputs = self._inputs()
        lists: tuple[Any, ...] = ([1, 2, "x"], [], 1, [1] * 600)
        points = ({"from": 1, "to": 2, "count": 3}, {"from": 1}, [1], 1, *({"values": each} for each in lists))
        vary = {pick.choice([*inputs, "x"]): pick.choice(points) for _ in range(pick.randrange(4))}
        body = {"given": inputs, "vary": vary} if pick.random() < 0.8 else inputs
        return post_json(f"/v1/{name}/{pick.choice(('sweep', 'sweep', 'chart'))}?{self._options(0.04)}", body)

    def _page(self) -> Request:
        pick = self._random
        name, inputs = self._inputs()
        target = f"/calculators/{name}{pick.choice(('', '/frame', '', '/frame', '/chart'))}"
        query = self._options(0.04)
        if pick.random() < 0.5:
            return get(f"{target}?{self._query(inputs, query)}")
        fields = {key: str(value) for key, value in inputs.items()}
        for key, value in inputs.items():
            if isinstance(value, list) and value and isinstance(value[0], dict):
                rows = list(enumerate(value))
                fields |= {f"{key}.{row}.{cell}": str(value) for row, cells in rows for cell, value in cells.items()}
        if pick.random() < 0.3:
            fields[pick.choice(("parts.9999999999.mass", "parts.-1.x", ".", "..", "add.packs", "remove.packs.0"))] = "1"
        if pick.random() < 0.3:
            file = pick.choice(("", "", "; filename=x"))
            parts = [
                f'--x\r\nContent-Disposition: form-data; name="{key}"{file}\r\n\r\n{value}\r\n'
                for key, value in fields.items()
            ]
            return post(f"{target}?{query}", ("".join(parts) + "--x--\r\n").encode("utf-8", "replace"), MULTIPART)
        return post(f"{target}?{query}", urlencode(fields, errors="replace").encode(), FORM)

    def _log(self) -> Request:
        pick = self._random
        headers = ("time,voltage,current", "time [ms];volts;amps", "a,b,c", "time [s],voltage [V],current [mA]", "",
                   "time,voltage,current,time", "{", "[", '{"time":1}')  # fmt: skip
        cells = ("0", "1", "16", "8", "x", "", "1e400", "12:00:01", "-1", '"', "2020-01-01T00:00:00Z", "9" * 30)
        rows = [",".join(pick.choice(cells) for _ in range(3)) for _ in range(6)]
        text = "\n".join([pick.choice(headers), *rows])
        name = pick.choice(("flight-log", "overlay-cues", "pack-energy", "flight-comparison", "endurance-from-flight"))
        query = urlencode({"cells": 4, "capacity": 850}) + "&" + self._options(0.05)
        form = pick.choice((CSV, CSV, CSV, NDJSON, ARROW, JSON))
        return post(f"/v1/{name}/log?{query}", text.encode(), form)

    def _path(self) -> Request:
        if self._random.random() < 0.1:
            units = [{"value": self._random.choice(ODD), "from": "V", "to": self._random.choice(("mV", "x"))}]
            return post_json("/v1/units", self._random.choice((units, units[0], {}, [])))
        return get(self._random.choice(PATHS) + self._random.choice(("", "?", "?x=1", "?%")))

    def _arrow(self) -> Request:
        pick = self._random
        name, inputs = self._inputs()
        columns: dict[str, Any] = {}
        for key, value in inputs.items():
            try:
                columns[key] = pa.array([value, value, None] if pick.random() < 0.3 else [value] * 3)
            except (pa.ArrowException, OverflowError, UnicodeError):
                columns[key] = pa.nulls(3)
        key = pick.choice(("note", "x", *inputs))
        columns[key] = pa.array(random_cells(pick, pick.choice(ARROW_TYPES)))
        sink = io.BytesIO()
        table = pa.table(columns)
        options = pa.ipc.IpcWriteOptions(compression=pick.choice((None, None, "zstd", "lz4")))
        write = pa.ipc.new_file if pick.random() < 0.05 else pa.ipc.new_stream
        with write(sink, table.schema, options=options) as writer:
            for _ in range(pick.choice((1, 1, 2, 0))):
                writer.write_table(table)
        body = sink.getvalue()
        if pick.random() < 0.6:
            body = self._damaged(body)
        if pick.random() < 0.2:
            return post(f"/v1/flight-log/log?cells=4&capacity=850&{self._options(0.05)}", body, ARROW)
        return post(f"/v1/{name}/batch?{self._options(0.05)}", body, ARROW)

    def _damaged(self, body: bytes) -> bytes:
        pick, damaged = self._random, bytearray(body)
        for _ in range(pick.randrange(1, 6)):
            if not damaged:
                break
            at = pick.randrange(len(damaged))
            match pick.randrange(5):
                case 0:
                    damaged[at] = pick.randrange(256)
                case 1:
                    del damaged[at : at + pick.randrange(1, 9)]
                case 2:
                    damaged[at:at] = pick.randbytes(pick.randrange(1, 9))
                case 3:
                    damaged[at : at + 4] = pick.choice((b"\xff\xff\xff\x7f", b"\0\0\0\0", b"\xff\xff\xff\xff"))
                case _:
                    damaged[at] ^= 1 << pick.randrange(8)
        return bytes(damaged)

    def _headers(self, *, has_body: bool) -> dict[str, str]:
        pick = self._random
        return {
            name: pick.choice(values)
            for name, (share, values) in HEADERS.items()
            if pick.random() < share and (has_body or name != "Expect")  # RFC 9110, 10.1.1
        }


def random_cells(pick: random.Random, kind: pa.DataType) -> Any:
    """Make a column of three cells of a type, of random bytes where the type has a fixed width."""
    try:
        width = kind.bit_width // 8
    except ValueError:
        width = 0
    if not width or pa.types.is_nested(kind) or pa.types.is_dictionary(kind):
        try:
            return pa.array([1, None, 1]).cast(kind)
        except pa.ArrowException:
            return pa.nulls(3, kind)
    return pa.Array.from_buffers(kind, 3, [None, pa.py_buffer(pick.randbytes(3 * width))])
