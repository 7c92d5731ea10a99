"""The design of draws: a published range does not move when a calculator is added."""

import pytest

from gramwatt.engine import draws


@pytest.mark.parametrize("count", [draws.DRAWS, draws.FEW_DRAWS])
def test_a_new_name_changes_no_other_draws(count: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The design of the first sixty names is the same without those that come after them."""
    every = draws._design_names(count)
    fewer = {name: at for at, name in enumerate(draws.order_names()[:60])}
    monkeypatch.setattr(draws, "_get_positions", lambda: fewer)
    assert len(every) > 100
    assert (draws._design_names.__wrapped__(count) == every[:60]).all()
