"""The running service, as the tests of the web have it."""

from web.conftest import live

__all__ = ["live"]
