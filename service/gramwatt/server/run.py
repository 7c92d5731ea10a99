"""Start the service: gunicorn with the shipped settings, or waitress where gunicorn cannot run."""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any, Final

SETTINGS: Final = "python:gramwatt.server.gunicorn_config"


def serve(host: str, port: int, on_ready: Callable[[], None]) -> None:
    """Serve until stopped; ``on_ready`` is called when the socket listens."""
    if sys.platform == "win32":
        serve_with_waitress(host, port, on_ready)
        return
    from gunicorn.app.base import Application

    class Service(Application):  # type: ignore[misc]
        def load_config(self) -> None:
            self.load_config_from_module_name_or_filename(SETTINGS)
            self.cfg.set("bind", f"[{host}]:{port}" if ":" in host else f"{host}:{port}")
            self.cfg.set("when_ready", lambda _: on_ready())

        def load(self) -> Any:
            from gramwatt.server.application import app

            return app

    sys.argv = [sys.argv[0]]
    Service().run()


def serve_with_waitress(host: str, port: int, on_ready: Callable[[], None]) -> None:
    """Serve with waitress, which runs on Windows too."""
    import waitress.server

    from gramwatt.wsgi import app

    server = waitress.server.create_server(app, host=host, port=port, threads=8, ident=None)
    on_ready()
    server.run()
