"""The service as an ASGI application, for any ASGI server: ``uvicorn gramwatt.asgi:app``."""

from gramwatt.server.application import app

__all__ = ["app"]
