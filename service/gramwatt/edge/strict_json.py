"""JSON as RFC 8259 has it, and no more: the standard library alone takes NaN and keeps the last of two like names."""

from __future__ import annotations

import json
from collections.abc import Sequence

from gramwatt.edge.wording import echo


class NotJson(ValueError):
    """The bytes are not a JSON text in UTF-8."""


def strict_json(raw: bytes) -> object:
    """Parse JSON. Raises NotJson for NaN, a name given twice, a byte-order mark, another encoding, deep nesting."""
    try:
        return json.loads(raw.decode("utf-8"), object_pairs_hook=_object, parse_constant=_no_constant)
    except RecursionError:
        raise NotJson("it is nested too deeply") from None
    except (UnicodeDecodeError, ValueError) as error:
        raise NotJson(str(error)[:200]) from None


def _object(pairs: Sequence[tuple[str, object]]) -> dict[str, object]:
    made: dict[str, object] = {}
    for name, value in pairs:
        if name in made:
            raise ValueError(f"the name {echo(name)!r} is given more than once")
        made[name] = value
    return made


def _no_constant(word: str) -> object:
    raise ValueError(f"{word} is not a JSON number")
