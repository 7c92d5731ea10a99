"""Results as text: one bare value."""

from __future__ import annotations

import pytest

from gramwatt.engine.serializers import format_value


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        pytest.param(None, "", id="no-result"),
        pytest.param(True, "true", id="flag"),
        pytest.param("lipo", "lipo", id="choice"),
        pytest.param(23.088, "23.088", id="number"),
        pytest.param([118.5, 214.7], "118.5,214.7", id="list"),
        pytest.param([{"time": 3.5}], '[{"time":3.5}]', id="table"),
        pytest.param([], "[]", id="empty-table"),
    ],
)
def test_a_bare_value(value: object, expected: str) -> None:
    assert format_value(value) == expected
