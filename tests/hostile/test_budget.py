"""What one request may cost: work is judged before it is done, stops when nobody waits, and its memory comes back."""

from __future__ import annotations

from gramwatt import registry
from gramwatt.declare import Series, Table
from gramwatt.web.work import most_short_inputs, runs_long


def test_work_that_short_inputs_can_make_long_never_runs_in_the_event_loop() -> None:
    """Recordings, long tables, grids, charts and pages run in a thread however short the request, and so does a path
    that is none of ours, such as a target in absolute form."""
    for name, calculator in registry.load().items():
        path = f"/v1/{name}"
        unfolds = any(isinstance(kind, Table) and kind.longest > 1000 for kind in calculator.answered.values())
        if unfolds or calculator.takes_recordings or calculator.forms:
            assert most_short_inputs(calculator) == 0, name
            assert runs_long(path, 0), name
        else:
            assert not runs_long(path, 300), name
        below = ("batch", "sweep", "chart", "log", "unknown")
        assert all(runs_long(f"{path}/{each}", 0) for each in below), name
        assert runs_long(f"/calculators/{name}", 0)
        assert runs_long(f"http://x{path}", 0)
    assert runs_long("", 0)
    assert runs_long("//v1", 0)
    assert runs_long("/v1/nobody", 0)


def test_a_body_with_many_entries_runs_in_a_thread() -> None:
    for name, calculator in registry.load().items():
        lists = any(isinstance(kind, Series | Table) for kind in calculator.asked.values())
        assert runs_long(f"/v1/{name}", 4000 if lists else 60_000), name
