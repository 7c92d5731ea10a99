"""Trust named proxies about a client: its address, and the scheme and host of its request."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from ipaddress import IPv4Network, IPv6Network, ip_address, ip_network
from typing import Any, Final

from werkzeug.middleware.proxy_fix import ProxyFix

MAX_HOPS: Final = 8
Application = Callable[..., Iterable[bytes]]


class TrustedProxies:
    """Read client, scheme and host from X-Forwarded-For, -Proto and -Host if a trusted proxy sets them.

    ``setting`` names proxies by address or network, separated by commas: only their headers are trusted, and the
    client is the last address in X-Forwarded-For that is not theirs. A number instead is the number of proxies in
    front, for a service that only they can reach. Empty: no proxy is trusted. Raises ValueError for other settings.
    """

    def __init__(self, application: Application, setting: str = "") -> None:
        self._application = application
        words = setting.replace(",", " ").split()
        self._hops = int(setting) if setting.strip().isdecimal() else 0
        self._networks = [] if setting.strip().isdecimal() else [_network(word) for word in words]
        self._fixed: dict[int, Application] = {
            hops: ProxyFix(application, x_for=hops, x_proto=nearest, x_host=nearest)
            for hops in ((self._hops,) if self._hops else range(1, MAX_HOPS + 1))
            for nearest in (self._hops or 1,)
        }

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        """Call the application with the trusted values in the environ."""
        _restore(environ)
        application = self._fixed.get(self._count_hops(environ), self._application)
        return application(environ, start_response)

    def _count_hops(self, environ: dict[str, Any]) -> int:
        """Return how many proxies the request came through: one that connects, and those before it that it names."""
        if not self._networks:
            return self._hops
        if not self._is_named(environ.get("REMOTE_ADDR", "")):
            return 0
        before = [word.strip() for word in environ.get("HTTP_X_FORWARDED_FOR", "").split(",")]
        hops = 1
        while hops < min(len(before), MAX_HOPS) and self._is_named(before[-hops]):
            hops += 1
        return hops

    def _is_named(self, address: str) -> bool:
        try:
            parsed_address = ip_address(address)
        except ValueError:
            return False
        return any(parsed_address in network for network in self._networks)


def _network(word: str) -> IPv4Network | IPv6Network:
    try:
        return ip_network(word)
    except ValueError:
        detail = f"GRAMWATT_PROXIES: {word!r} is not an address, a network such as 10.0.0.0/8, or a number of proxies"
        raise ValueError(detail) from None


def _restore(environ: dict[str, Any]) -> None:
    """Undo what gunicorn's own workers trust of a local client: its scheme, and SCRIPT_NAME."""
    sock = environ.get("gunicorn.socket")
    if sock is None:
        return
    if environ["wsgi.url_scheme"] == "https":
        from ssl import SSLSocket

        environ["wsgi.url_scheme"] = "https" if isinstance(sock, SSLSocket) else "http"
    claimed = environ.get("HTTP_SCRIPT_NAME")
    if claimed and claimed == environ.get("SCRIPT_NAME"):
        environ["PATH_INFO"], environ["SCRIPT_NAME"] = claimed + environ["PATH_INFO"], ""
