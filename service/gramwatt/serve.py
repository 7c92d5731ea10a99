"""Running the service: gunicorn with the shipped settings, or waitress where gunicorn cannot run."""

from __future__ import annotations

import os
import sys
import uuid
from collections.abc import Callable
from importlib import util
from pathlib import Path
from typing import Any, Final

import orjson

REPOSITORY_SETTINGS: Final = Path(__file__).resolve().parents[2] / "docker" / "gunicorn.conf.py"
INSTALLED_SETTINGS: Final = Path(__file__).resolve().parent / "gunicorn.conf.py"


def settings() -> Path:
    """The shipped gunicorn.conf.py: beside the package where installed, in docker/ in a checkout."""
    return INSTALLED_SETTINGS if INSTALLED_SETTINGS.exists() else REPOSITORY_SETTINGS


def serve(host: str, port: int, ready: Callable[[], None]) -> None:
    """Serve until told to stop; ``ready`` is called when the socket listens."""
    if util.find_spec("gunicorn") is not None and sys.platform != "win32":
        _gunicorn(host, port, ready)
    else:
        serve_with_waitress(host, port, ready)


def _gunicorn(host: str, port: int, ready: Callable[[], None]) -> None:
    from gunicorn.app.base import BaseApplication
    from gunicorn.config import get_default_config_file  # noqa: F401 - fails early where gunicorn is another one

    class Service(BaseApplication):  # type: ignore[misc]
        def load_config(self) -> None:
            values = _read_settings(settings())
            values |= {"bind": f"[{host}]:{port}" if ":" in host else f"{host}:{port}", "when_ready": lambda _: ready()}
            for name, value in values.items():
                self.cfg.set(name, value)

        def load(self) -> Any:
            from gramwatt.web import create_app

            return create_app()

    sys.argv = [sys.argv[0]]
    Service().run()


def _read_settings(path: Path) -> dict[str, Any]:
    """The settings a gunicorn.conf.py makes, by gunicorn's own names."""
    from gunicorn.config import Config

    known = Config().settings
    made: dict[str, Any] = {}
    exec(compile(path.read_bytes(), path, "exec"), made)  # noqa: S102 - our own file
    return {name: value for name, value in made.items() if name in known}


def serve_with_waitress(host: str, port: int, ready: Callable[[], None]) -> None:
    """The same application on waitress, which runs on Windows too."""
    import waitress.server

    from gramwatt.web import create_app

    threads = int(os.environ.get("GRAMWATT_THREADS") or 8)
    server = waitress.server.create_server(create_app(), host=host, port=port, threads=threads, ident=None)
    ready()
    server.run()


def problem_bytes(status: int, title: str, detail: str) -> bytes:
    """A whole HTTP response with a problem, for requests that never reach the application."""
    kinds = {414: "uri-too-long", 431: "headers-too-large"}
    kind = kinds.get(status, "internal-error" if status >= 500 else "malformed-request")
    body = orjson.dumps(
        {
            "type": f"/problems/{kind}",
            "title": title,
            "status": status,
            "detail": detail[:500],
            "instance": f"urn:uuid:{uuid.uuid4()}",
        },
        option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE,
    )
    head = (
        f"HTTP/1.1 {status} {title}\r\nConnection: close\r\nContent-Type: application/problem+json\r\n"
        f"Access-Control-Allow-Origin: *\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    return head.encode("latin-1") + body


if util.find_spec("gunicorn") is not None and sys.platform != "win32":
    from gunicorn.workers.gthread import ThreadWorker

    class ProblemWorker(ThreadWorker):  # type: ignore[misc]
        """gunicorn's thread worker, whose own errors (a line too long, a bad header) are problems too, not pages."""

        def handle_error(self, req: Any, client: Any, addr: Any, exc: BaseException) -> None:
            """Answer a request that could not be read."""
            from gunicorn.http.errors import LimitRequestHeaders, LimitRequestLine, ParseException

            if not isinstance(exc, ParseException):
                super().handle_error(req, client, addr, exc)
                return
            status, title = 400, "Bad Request"
            if isinstance(exc, LimitRequestLine):
                status, title = 414, "URI Too Long"
            elif isinstance(exc, LimitRequestHeaders):
                status, title = 431, "Request Header Fields Too Large"
            try:
                client.sendall(problem_bytes(status, title, str(exc)))
            except OSError:
                self.log.debug("client went away before its error")
