"""Find the prose in a file: the passages of each kind, with code masked.

A phrase that continues over several lines of a comment, or over several string literals, is one passage.
"""

from __future__ import annotations

import ast
import re
from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import PurePath
from typing import Any, Final, Literal

from pygments.lexer import Lexer
from pygments.lexers import get_lexer_by_name, get_lexer_for_filename
from pygments.token import Comment, Name, String, Text
from pygments.util import ClassNotFound

Kind = Literal["comment", "docstring", "text", "document"]

MASK: Final = "\N{BROKEN BAR}"
"""Stands for code: no phrase goes on over it."""

LEXERS: Final = {
    ".html": "html+jinja",
    ".ipynb": "json",
    ".gs": "javascript",
    ".mts": "typescript",
    ".bas": "vbnet",
    "": "bash",
}
"""Lexers by suffix, where Pygments would choose another or none."""

DOCUMENT: Final = {".md", ".cff", ".yml"}

WORDS_OF_PROSE: Final = 3
"""A string literal with fewer words is a name, a key or a unit."""

_CODE_SPAN: Final = re.compile(r"(`+)[^`]+?\1")
_FENCE: Final = re.compile(r"^( *)(```+|~~~+).*?^\1\2 *$", re.MULTILINE | re.DOTALL)
_TARGET: Final = re.compile(r"(?<=\])\([^)\s]*\)|<?https?://\S+")
_HTML_COMMENT: Final = re.compile(r"<!--.*?-->", re.DOTALL)
_PASSAGE: Final = re.compile(f"[^{MASK}]*\\w[^{MASK}]*")
_WORD: Final = re.compile(r"\S*[^\W\d_]{2}\S*")
_COMMENT_MARK: Final = re.compile(r"^[ \t]*(?:#+:?|//+|/?\*+/?|'|\{#|#\}|<!--|-->)", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Prose:
    """The prose of one kind in a file."""

    kind: Kind
    text: str
    """The passages, with a mask between them."""
    passage_starts: tuple[int, ...]
    passage_lines: tuple[int, ...]

    def find_line(self, offset: int) -> int:
        """Return the line of the file for an offset in the text."""
        passage = bisect_right(self.passage_starts, offset) - 1
        return self.passage_lines[passage] + self.text.count("\n", self.passage_starts[passage], offset)


@dataclass(frozen=True, slots=True)
class Identifier:
    """A name that a Python file defines."""

    name: str
    line: int


def extract_prose(path: PurePath, source: str) -> list[Prose]:
    """Return the prose of a file, by kind. A file of an unknown language has none."""
    if path.suffix in DOCUMENT:
        return [_collect("document", _mask_markup(source))]
    lexer = _find_lexer(path)
    if lexer is None:
        return []
    masks: dict[Kind, list[str]] = {}
    attribute = ""
    tokens: Iterable[tuple[int, Any, str]] = lexer.get_tokens_unprocessed(source)
    for start, token, value in tokens:
        if token in Name.Attribute:
            attribute = value.rstrip("= ")
        kind = _classify(token, path.suffix, attribute)
        if kind is None:
            continue
        if kind not in masks:
            masks[kind] = list(re.sub(r"\S", MASK, source))
        masks[kind][start : start + len(value)] = _mask_marks(token, value)
    return [_collect(kind, _clean(kind, "".join(mask), path.suffix)) for kind, mask in masks.items()]


def extract_identifiers(source: str) -> Iterator[Identifier]:
    """Yield the names that a Python file defines: classes, functions, parameters, variables, aliases."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            yield Identifier(node.name, node.lineno)
        elif isinstance(node, ast.arg):
            yield Identifier(node.arg, node.lineno)
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            yield Identifier(node.id, node.lineno)
        elif isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store):
            yield Identifier(node.attr, node.lineno)
        elif isinstance(node, ast.alias) and node.asname:
            yield Identifier(node.asname, node.lineno)


def split_identifier(name: str) -> list[str]:
    """Return the words of a name in lower case: ``RequestBody`` and ``request_body`` both give request, body."""
    return [word.lower() for word in re.findall(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+", name)]


def _collect(kind: Kind, masked: str) -> Prose:
    """Return the passages of a masked file."""
    texts, starts, lines = [], [], []
    at, line, counted = 0, 1, 0
    for passage in _PASSAGE.finditer(masked):
        line += masked.count("\n", counted, passage.start())
        counted = passage.start()
        starts.append(at)
        lines.append(line)
        texts.append(passage[0] + MASK)
        at += len(passage[0]) + 1
    return Prose(kind, "".join(texts), tuple(starts), tuple(lines))


def _find_lexer(path: PurePath) -> Lexer | None:
    try:
        if path.suffix in LEXERS:
            return get_lexer_by_name(LEXERS[path.suffix])
        return get_lexer_for_filename(path.name)
    except ClassNotFound:
        return None


def _classify(token: Any, suffix: str, attribute: str) -> Kind | None:
    if token in Comment and token not in Comment.Preproc and token not in Comment.Hashbang:
        return "comment"
    if token in String.Doc:
        return "docstring"
    if suffix == ".html":
        if token in Text or (token in String and attribute not in ("class", "style", "id", "name", "href")):
            return "text"
        return None
    if token in String and token not in String.Regex:
        return "text"
    return None


def _mask_marks(token: Any, value: str) -> str:
    """Return the characters of a token, its quotation marks and the marks of a comment replaced."""
    if token in Comment:
        return _COMMENT_MARK.sub(lambda mark: " " * len(mark[0]), value)
    if token in String.Doc:
        return value.replace('"""', MASK * 3)
    if token in String.Escape or token in String.Affix:
        return re.sub(r"\S", " ", value)
    if token in String.Interpol:
        return MASK * len(value)
    if token in String and value.strip("\"'`") == "":
        return " " * len(value)
    if token in String and value[0] in "\"'`" and value[0] == value[-1]:
        return f" {value[1:-1]} "
    return value


def _clean(kind: Kind, text: str, suffix: str) -> str:
    if suffix == ".py":
        text = _CODE_SPAN.sub(_blank, text)
    if kind == "text":
        text = re.sub(f"[^{MASK}]+", lambda run: run[0] if _is_prose(run[0]) else _blank(run), text)
    return text


def _is_prose(text: str) -> bool:
    return len(_WORD.findall(text)) >= WORDS_OF_PROSE


def _mask_markup(source: str) -> str:
    for pattern in (_FENCE, _CODE_SPAN, _TARGET, _HTML_COMMENT):
        source = pattern.sub(_blank, source)
    return source


def _blank(found: re.Match[str]) -> str:
    return "".join(c if c.isspace() else MASK for c in found[0])
