"""Read a craft document from a file in JSON or YAML."""

from __future__ import annotations

import os
from collections.abc import Hashable
from pathlib import Path
from typing import Any, Final

from gramwatt.engine.strict_json import InvalidJson, parse_strict_json

YAML_EXTENSIONS: Final = (".yaml", ".yml")
MAX_BYTES: Final = 64 * 1024 * 1024
"""Bytes of a document, recordings among them."""


class InvalidCraftFile(ValueError):
    """A file is no craft document."""


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
    if not isinstance(document, dict):
        raise InvalidCraftFile(f"{file}: a craft document is an object of inputs")
    return document


def _parse_yaml(content: bytes) -> object:
    """Return what a YAML text describes. Raises InvalidCraftFile, also for a name that is given twice."""
    import yaml  # which takes as long to import as the rest of a calculation

    class Loader(yaml.SafeLoader):
        """The safe loader, without names that are given twice and without anchors, which can grow without end."""

        def compose_node(self, parent: Any, index: Any) -> Any:
            if self.check_event(yaml.AliasEvent):
                raise InvalidCraftFile("an alias is not supported; write the values out")
            return super().compose_node(parent, index)

        def construct_mapping(self, node: Any, deep: bool = False) -> dict[Hashable, Any]:
            names = [key.value for key, _ in node.value]
            for name in names:
                if names.count(name) > 1:
                    raise InvalidCraftFile(f"the name {name!r} is given more than once")
            return super().construct_mapping(node, deep)

    try:
        return yaml.load(content, Loader)  # noqa: S506 - a safe loader
    except (yaml.YAMLError, RecursionError, UnicodeDecodeError) as error:
        raise InvalidCraftFile(" ".join(str(error).split())) from None
