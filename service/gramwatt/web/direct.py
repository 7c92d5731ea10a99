"""Plain questions answered in front of Flask: a calculator's own path, inputs and nothing else, JSON wanted.

Flask answers the first such question of each calculator, and with that says how the answers to them look: status,
headers, route. From then on only the body, its length and its entity tag change, and those are made here, by the same
`ask` and `tag_of`. Whatever is not plain (an option, a fault, another format, a condition) is left to Flask.
"""

from __future__ import annotations

from typing import Any, Final
from urllib.parse import parse_qsl

from gramwatt import registry
from gramwatt.declare import Calculator
from gramwatt.edge.ask import Refused, ask
from gramwatt.edge.figures import json_bytes
from gramwatt.edge.queries import fits_query
from gramwatt.edge.strict_json import NotJson, strict_json
from gramwatt.web.asking import ANSWER_OPTIONS
from gramwatt.web.headers import tag_of
from gramwatt.web.told import Told

LONGEST_QUERY: Final = 4000
LARGEST_BODY: Final = 65_536
_PLAIN_ACCEPT: Final = (None, b"*/*", b"application/json", b"")
_JSON: Final = "application/json"


class Direct:
    """Answers plain questions, once it has seen how Flask answers them."""

    def __init__(self) -> None:
        known = registry.load().values()
        self._by_query = {f"/v1/{each.name}".encode(): each for each in known if fits_query(each)}
        self._by_body = {f"/v1/{each.name}".encode(): each for each in known}
        self._learnt: dict[tuple[str, bytes], Told] = {}

    def learn(self, method: str, path: bytes, told: Told) -> None:
        """Take an answer of Flask's to a plain question as the pattern of those to come."""
        known = self._by_query if method == "GET" else self._by_body
        if path in known and told.code == 200 and told.value("content-type") == _JSON:
            self._learnt.setdefault((method, path), told)

    def by_query(self, path: bytes, query: bytes, accept: bytes | None) -> tuple[Told, bytes, str] | None:
        """The answer to a GET, with its entity tag; None where it is Flask's to answer."""
        pattern, calculator = self._learnt.get(("GET", path)), self._by_query.get(path)
        if pattern is None or calculator is None or accept not in _PLAIN_ACCEPT or len(query) > LONGEST_QUERY:
            return None
        words = _words(query)
        if words is None or not words.keys().isdisjoint(ANSWER_OPTIONS):
            return None
        body = _body(calculator, words, text=True)
        if body is None:
            return None
        tag = tag_of("json", f"{path.decode()}?{query.decode()}")
        return pattern.varied({"etag": f'"{tag}"', "content-length": str(len(body))}), body, tag

    def takes(self, path: bytes, content_type: str | None, accept: bytes | None, length: int) -> bool:
        """Whether a POST may be a plain question, before its body is read."""
        plain = content_type == _JSON and accept in _PLAIN_ACCEPT and 0 < length <= LARGEST_BODY
        return plain and ("POST", path) in self._learnt

    def by_body(self, path: bytes, raw: bytes) -> tuple[Told, bytes] | None:
        """The answer to a POST that `takes` let through; None where it is Flask's to answer."""
        try:
            question = strict_json(raw)
        except NotJson:
            return None
        if not isinstance(question, dict):
            return None
        body = _body(self._by_body[path], question, text=False)
        if body is None:
            return None
        return self._learnt["POST", path].varied({"content-length": str(len(body))}), body


def _words(query: bytes) -> dict[str, str] | None:
    """The words of a query, as Flask reads them; None where a name stands twice or a byte is not plain."""
    if not query.isascii():
        return None
    text = query.decode("ascii")
    if "%" in text or "+" in text:
        pairs = parse_qsl(text, keep_blank_values=True, errors="werkzeug.url_quote")
    else:
        pairs = [(name, value) for name, _, value in (pair.partition("=") for pair in text.split("&") if pair)]
    words = dict(pairs)
    return words if len(words) == len(pairs) else None


def _body(calculator: Calculator[Any, Any], question: dict[str, Any], *, text: bool) -> bytes | None:
    try:
        return json_bytes(ask(calculator, question, text=text))
    except Refused:
        return None
