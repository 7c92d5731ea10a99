"""gunicorn's settings, for `gramwatt serve` and for ``gunicorn -c python:gramwatt.server.gunicorn_config``.

Environment: WEB_CONCURRENCY workers (default 2); GRAMWATT_ACCESS_LOG=1 for a line a request; GRAMWATT_LOG_LEVEL.
The application is made before the workers are, so that they share its memory.
"""

import os
import shutil
import tempfile
from pathlib import Path
from typing import Any

worker_class = "gramwatt.server.worker.Worker"
wsgi_app = "gramwatt.asgi:app"
workers = int(os.environ.get("WEB_CONCURRENCY") or 2)
preload_app = True

backlog = 4096  # a client that finds it full tries again only after a second
timeout = 30
graceful_timeout = 20
keepalive = 75

control_socket_disable = True
worker_tmp_dir = "/dev/shm" if Path("/dev/shm").is_dir() else None  # noqa: S108 - a RAM disk for heartbeats
accesslog = "-" if os.environ.get("GRAMWATT_ACCESS_LOG") == "1" else None
errorlog = "-"
loglevel = os.environ.get("GRAMWATT_LOG_LEVEL", "warning")

_own_folder = None
if not os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
    _own_folder = os.environ["PROMETHEUS_MULTIPROC_DIR"] = tempfile.mkdtemp(prefix="gramwatt-metrics-")


def on_exit(server: Any) -> None:
    """Remove the folder of metrics."""
    if _own_folder is not None:
        shutil.rmtree(_own_folder, ignore_errors=True)


def child_exit(server: Any, worker: Any) -> None:
    """Keep the counts of a worker that ended, but do not count it as alive."""
    from prometheus_client import multiprocess

    multiprocess.mark_process_dead(worker.pid)  # type: ignore[no-untyped-call]
