"""Types of earlier JSON rows do not limit later ones."""

from __future__ import annotations

import pytest

from engine.tables.table_helpers import rows
from gramwatt.engine.tables import chunks, json_reader

FIRST = '{"cells":6,"capacity":1300}'


@pytest.mark.parametrize(
    "later",
    [
        '{"cells":6,"capacity":1300,"chemistry":null,"id":7}',  # a null and a new name in one row
        '{"cells":6,"capacity":1300,"id":7}',
        '{"cells":6,"capacity":"1.3 Ah","id":7}',
        '{"id":7,"capacity":1300.0,"cells":6}',
    ],
)
@pytest.mark.parametrize("size", [chunks.READ_SIZE, 40])
def test_a_name_that_earlier_rows_lack(monkeypatch: pytest.MonkeyPatch, later: str, size: int) -> None:
    monkeypatch.setattr(json_reader, "READ_SIZE", size)
    output = rows("pack-energy", "\n".join([FIRST, FIRST, later, FIRST]).encode(), "ndjson", "ndjson")
    assert [row.get("id") for row in output] == [None, None, 7, None]
    assert len({row["usable_energy"] for row in output}) == 1


def test_passed_through_numbers_do_not_change() -> None:
    table = "\n".join(f'{{"cells":6,"capacity":1300,"id":{number}}}' for number in ("1", "0.5", "2"))
    assert [row["id"] for row in rows("pack-energy", table.encode(), "ndjson", "ndjson")] == [1, 0.5, 2]
