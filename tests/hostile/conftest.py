"""The application and the running service, as the tests of the web have them."""

from web.conftest import client, live

__all__ = ["client", "live"]
