"""A look for client programs before a test starts, as with the tests of client programs."""

import pytest

from clients.running import need


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip, or fail where they are required, a test whose client markers name a program that is missing."""
    for marker in item.iter_markers("client"):
        for program in marker.args:
            need(program)
