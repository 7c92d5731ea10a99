"""The WSGI environ (PEP 3333) of an ASGI scope."""

from __future__ import annotations

import sys
from typing import Any, Final
from urllib.parse import unquote_to_bytes

_BASE: Final = {
    "wsgi.version": (1, 0),
    "wsgi.multithread": True,
    "wsgi.multiprocess": True,
    "wsgi.run_once": False,
    "wsgi.input_terminated": True,  # a chunked body ends by itself
}
_KEYS: Final = {b"content-type": "CONTENT_TYPE", b"content-length": "CONTENT_LENGTH"}


def scope_to_environ(scope: dict[str, Any]) -> dict[str, Any]:
    """Return the environ of a request, without its body."""
    raw = scope.get("raw_path")
    if raw:
        path = (unquote_to_bytes(raw) if b"%" in raw else raw).decode("latin-1")
    else:
        path = scope["path"].encode().decode("latin-1")
    script = scope.get("root_path", "").encode().decode("latin-1")
    if script and path.startswith(script):
        path = path[len(script) :]
    server, client = scope.get("server") or ("localhost", 80), scope.get("client") or ("", 0)
    environ: dict[str, Any] = {
        **_BASE,
        "wsgi.errors": sys.stderr,
        "wsgi.url_scheme": scope.get("scheme", "http"),
        "REQUEST_METHOD": scope["method"],
        "SCRIPT_NAME": script,
        "PATH_INFO": path,
        "QUERY_STRING": scope.get("query_string", b"").decode("latin-1"),
        "SERVER_NAME": server[0],
        "SERVER_PORT": str(server[1] or 80),
        "SERVER_PROTOCOL": f"HTTP/{scope.get('http_version', '1.1')}",
        "REMOTE_ADDR": client[0],
        "REMOTE_PORT": str(client[1]),
    }
    for name, value in scope["headers"]:
        if b"_" in name:  # X_Forwarded_For would pass for X-Forwarded-For
            continue
        key = _KEYS.get(name) or "HTTP_" + name.decode("latin-1").upper().replace("-", "_")
        text = value.decode("latin-1")
        if key in environ:
            text = f"{environ[key]}{'; ' if key == 'HTTP_COOKIE' else ','}{text}"
        environ[key] = text
    return environ
