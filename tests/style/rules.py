"""The rules of ``rules.toml``, and what they find in a file."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fnmatch import fnmatch
from pathlib import Path, PurePath
from typing import Any, Final

from style.prose import Kind, extract_identifiers, extract_prose, split_identifier

RULES: Final = Path(__file__).with_name("rules.toml")


@dataclass(frozen=True, slots=True)
class ProseRule:
    """A pattern that prose must not contain, and what to write instead."""

    pattern: re.Pattern[str]
    advice: str
    exceptions: tuple[re.Pattern[str], ...]
    kinds: frozenset[Kind]
    files: tuple[str, ...]

    @classmethod
    def compile(
        cls,
        pattern: str,
        advice: str,
        exceptions: Sequence[str] = (),
        kinds: Sequence[Kind] = (),
        files: Sequence[str] = (),
    ) -> ProseRule:
        """Return a rule from regular expressions, in which a space stands for any white space."""
        return cls(_compile(pattern), advice, tuple(map(_compile, exceptions)), frozenset(kinds), tuple(files))

    def find(self, path: PurePath, kind: Kind, text: str) -> Iterator[tuple[int, str]]:
        """Yield the offset and the words of each phrase that breaks the rule."""
        if self.kinds and kind not in self.kinds:
            return
        if self.files and not any(fnmatch(str(path), pattern) for pattern in self.files):
            return
        allowed = [found.span() for pattern in self.exceptions for found in pattern.finditer(text)]
        for found in self.pattern.finditer(text):
            if not any(start <= found.start() and found.end() <= end for start, end in allowed):
                yield found.start(), " ".join(found[0].split())


@dataclass(frozen=True, slots=True)
class NameRule:
    """Words that no name may contain, and what to use instead."""

    words: frozenset[str]
    advice: str
    exceptions: frozenset[str] = frozenset()

    def matches(self, name: str) -> bool:
        """Return whether a name contains one of the words."""
        return name not in self.exceptions and not self.words.isdisjoint(split_identifier(name))


@dataclass(frozen=True, slots=True)
class Rules:
    """All rules, and the files that they leave out."""

    prose: tuple[ProseRule, ...]
    names: tuple[NameRule, ...]
    exclude: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, order=True)
class Finding:
    """A phrase or a name that breaks a rule."""

    path: str
    line: int
    words: str
    advice: str

    def __str__(self) -> str:
        """Return the finding as a line that editors can follow."""
        return f"{self.path}:{self.line}: {self.words!r}: {self.advice}"


def load_rules(path: Path = RULES) -> Rules:
    """Read the rules from a TOML file."""
    content = tomllib.loads(path.read_text(encoding="utf-8"))
    return Rules(
        tuple(ProseRule.compile(**_renamed(entry)) for entry in content.get("prose", ())),
        tuple(_name_rule(**_renamed(entry)) for entry in content.get("names", ())),
        tuple(content.get("exclude", ())),
    )


def check_file(path: PurePath, source: str, rules: Rules) -> list[Finding]:
    """Return what breaks the rules in a file, by line; ``path`` is relative to the checkout."""
    found = []
    for prose in extract_prose(path, source):
        for rule in rules.prose:
            for offset, words in rule.find(path, prose.kind, prose.text):
                found.append(Finding(str(path), prose.find_line(offset), words, rule.advice))
    if path.suffix == ".py":
        found += _check_names(path, source, rules.names)
    return sorted(found)


def _check_names(path: PurePath, source: str, rules: Sequence[NameRule]) -> Iterator[Finding]:
    names = [(path.stem, 1), *((found.name, found.line) for found in extract_identifiers(source))]
    for name, line in dict.fromkeys(names):
        for rule in rules:
            if rule.matches(name):
                yield Finding(str(path), line, name, rule.advice)


def _renamed(entry: dict[str, Any]) -> dict[str, Any]:
    return {{"except": "exceptions", "in": "kinds"}.get(key, key): value for key, value in entry.items()}


def _name_rule(words: Sequence[str], advice: str, exceptions: Sequence[str] = ()) -> NameRule:
    return NameRule(frozenset(words), advice, frozenset(exceptions))


def _compile(pattern: str) -> re.Pattern[str]:
    return re.compile(re.sub(r"(?<!\\) ", r"\\s+", pattern), re.IGNORECASE)
