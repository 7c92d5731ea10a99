"""JSON as RFC 8259 has it, and no more: the standard library alone takes NaN and keeps the last of two like names."""

from __future__ import annotations

import codecs
import itertools
import json
import re
from collections.abc import Sequence
from typing import Final

from gramwatt.engine.limits import MAX_JSON_CONTAINERS, MAX_JSON_NAMES
from gramwatt.model.messages import quote_input

_NAME_END: Final = re.compile(rb'"\s*+:')
BYTE_ORDER_MARKS: Final = (codecs.BOM_UTF8, codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


class InvalidJson(ValueError):
    """The bytes are not a JSON text in UTF-8."""


def parse_strict_json(raw: bytes) -> object:
    """Parse JSON. Raises InvalidJson for NaN, a name given twice, a byte-order mark, another encoding, deep nesting."""
    if raw.startswith(BYTE_ORDER_MARKS):
        raise InvalidJson("it begins with a byte-order mark; send plain UTF-8")
    if raw.count(b"[") + raw.count(b"{") > MAX_JSON_CONTAINERS:
        raise InvalidJson(f"it holds more than {MAX_JSON_CONTAINERS} lists and objects")
    if raw.count(b":") > MAX_JSON_NAMES and any(itertools.islice(_NAME_END.finditer(raw), MAX_JSON_NAMES, None)):
        raise InvalidJson(f"it holds more than {MAX_JSON_NAMES} names")
    try:
        return json.loads(raw.decode("utf-8"), object_pairs_hook=_object, parse_constant=_no_constant)
    except RecursionError:
        raise InvalidJson("it is nested too deeply") from None
    except UnicodeDecodeError as error:
        raise InvalidJson(f"byte {error.start} is not UTF-8") from None
    except json.JSONDecodeError as error:
        raise InvalidJson(f"{error.msg} at line {error.lineno}, column {error.colno}") from None
    except _Doubtful as error:
        raise InvalidJson(str(error)) from None
    except ValueError:
        raise InvalidJson("a whole number has too many digits") from None


def parse_value_at(text: str, start: int) -> tuple[object, int]:
    """Return the JSON value that begins at ``start``, and where it ends. Raises NotJson, also where it does not end."""
    try:
        return _DECODER.raw_decode(text, start)
    except RecursionError:
        raise InvalidJson("it is nested too deeply") from None
    except json.JSONDecodeError as error:
        raise InvalidJson(error.msg) from None
    except _Doubtful as error:
        raise InvalidJson(str(error)) from None
    except ValueError:
        raise InvalidJson("a whole number has too many digits") from None


class _Doubtful(ValueError):
    """Something that Python's parser takes and JSON does not."""


def _object(pairs: Sequence[tuple[str, object]]) -> dict[str, object]:
    members: dict[str, object] = {}
    for name, value in pairs:
        if name in members:
            raise _Doubtful(f"the name {quote_input(name)!r} is given more than once")
        members[name] = value
    return members


def _no_constant(word: str) -> object:
    raise _Doubtful(f"{word} is not a JSON number")


_DECODER: Final = json.JSONDecoder(object_pairs_hook=_object, parse_constant=_no_constant)
