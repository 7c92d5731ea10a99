"""Read a craft document from a file in JSON or YAML, or from JSON text."""

from __future__ import annotations

import os
from collections.abc import Hashable
from pathlib import Path
from typing import Any, Final

from gramwatt.engine.strict_json import InvalidJson, parse_strict_json

YAML_EXTENSIONS: Final = (".yaml", ".yml")
MAX_BYTES: Final = 64 * 1024 * 1024
"""Bytes of a document, recordings among them."""
MAX_YAML_BYTES: Final = 128 * 1024
"""Bytes of a document in YAML, which takes a thousand times as long to parse as JSON."""
_TAG: Final = "tag:yaml.org,2002:"
_PLAIN_TAGS: Final = frozenset({"null", "bool", "int", "float", "str", "seq", "map"})
"""Types of values that JSON has too. What YAML would take for a date is text."""


class InvalidCraftFile(ValueError):
    """A file is no craft document."""


def read_craft(source: str | os.PathLike[str]) -> dict[str, object]:
    """Return the craft document in a JSON text, which begins with a brace, or else in the file of that path.

    Raises InvalidCraftFile and OSError.
    """
    if not isinstance(source, str) or not source.lstrip().startswith("{"):
        return read_craft_file(source)
    try:
        document = parse_strict_json(source.encode(errors="surrogatepass"))
    except InvalidJson as error:
        raise InvalidCraftFile(f"the craft is not valid JSON: {error}") from None
    return _check_object(document, "the craft")


def read_craft_file(path: str | os.PathLike[str]) -> dict[str, object]:
    """Return the craft document in a file: YAML by the extensions .yaml and .yml, else JSON.

    Raises InvalidCraftFile, which says what is wrong, and OSError.
    """
    file = Path(path)
    if file.stat().st_size > MAX_BYTES:
        raise InvalidCraftFile(f"{file}: a craft document may have at most {MAX_BYTES} bytes")
    content = file.read_bytes()
    try:
        document = _parse_yaml(content) if file.suffix.lower() in YAML_EXTENSIONS else parse_strict_json(content)
    except InvalidJson as error:
        raise InvalidCraftFile(f"{file} is not valid JSON: {error}") from None
    except InvalidCraftFile as error:
        raise InvalidCraftFile(f"{file} is not valid YAML: {error}") from None
    return _check_object(document, str(file))


def _check_object(document: object, what: str) -> dict[str, object]:
    if not isinstance(document, dict):
        raise InvalidCraftFile(f"{what}: a craft document is an object of inputs")
    return document


def _parse_yaml(content: bytes) -> object:
    """Return what a YAML text describes, in types of JSON. Raises InvalidCraftFile."""
    if len(content) > MAX_YAML_BYTES:
        raise InvalidCraftFile(f"YAML may have at most {MAX_YAML_BYTES} bytes; save a larger document as JSON")
    import yaml  # which takes as long to import as the rest of a calculation

    class Loader(yaml.SafeLoader):
        """The safe loader of what JSON can hold, without anchors, which can grow without end."""

        def compose_node(self, parent: Any, index: Any) -> Any:
            if self.check_event(yaml.AliasEvent):
                raise InvalidCraftFile("an alias is not supported; write the values out")
            return super().compose_node(parent, index)

        def construct_object(self, node: Any, deep: bool = False) -> Any:
            if node.tag.removeprefix(_TAG) not in _PLAIN_TAGS:
                tag = node.tag.replace(_TAG, "!!")
                raise InvalidCraftFile(f"line {node.start_mark.line + 1}: the tag {tag} is not supported; remove it")
            return super().construct_object(node, deep)

        def construct_mapping(self, node: Any, deep: bool = False) -> dict[Hashable, Any]:
            mapping: dict[Hashable, Any] = {}
            for key, value in node.value:
                line = f"line {key.start_mark.line + 1}"
                if not isinstance(key, yaml.ScalarNode):
                    raise InvalidCraftFile(f"{line}: a name is text, not a list or an object")
                if key.value in mapping:
                    raise InvalidCraftFile(f"{line}: the name {key.value!r} is given more than once")
                mapping[key.value] = self.construct_object(value, deep)
            return mapping

    Loader.yaml_implicit_resolvers = {
        first: [(tag, pattern) for tag, pattern in resolvers if tag.removeprefix(_TAG) in _PLAIN_TAGS]
        for first, resolvers in yaml.SafeLoader.yaml_implicit_resolvers.items()
    }
    try:
        return yaml.load(content, Loader)  # noqa: S506 - a safe loader
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        place = "" if mark is None else f"line {mark.line + 1}, column {mark.column + 1}: "
        raise InvalidCraftFile(f"{place}{error.problem or error.context}") from None
    except (yaml.YAMLError, RecursionError, UnicodeDecodeError) as error:
        raise InvalidCraftFile(" ".join(str(error).split())) from None
