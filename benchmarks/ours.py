"""The one place that knows how to call the service's tables in this process, without HTTP."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from typing import Any, Final

CANDIDATES: Final = ("gramwatt.edge.tables", "gramwatt.edge.batch")


class NotAvailable(Exception):
    """This checkout has no such function."""


def batch() -> Callable[[bytes, str], Any]:
    """A function of a body and its format that reads, calculates and writes. Raises NotAvailable."""
    for name in CANDIDATES:
        try:
            importlib.import_module(name)
        except ModuleNotFoundError:
            continue
        raise NotAvailable(f"{name} is there; benchmarks/ours.py does not know yet how to call it")
    raise NotAvailable("not in this checkout yet")
