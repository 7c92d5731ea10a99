"""Tables are read alike with the Arrow library and without it."""

from __future__ import annotations

import sys

import pytest


@pytest.fixture(params=["with-arrow", "without"])
def either_csv_reader(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """CSV read by columns, and row by row as where the extra for tables is not installed."""
    if request.param == "without":
        monkeypatch.setitem(sys.modules, "gramwatt.engine.tables.arrow_csv_parser", None)
