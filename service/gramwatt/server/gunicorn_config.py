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
_ram_disk = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None  # noqa: S108 - nothing of clients' is written there
worker_tmp_dir = _ram_disk
accesslog = "-" if os.environ.get("GRAMWATT_ACCESS_LOG") == "1" else None
errorlog = "-"
loglevel = os.environ.get("GRAMWATT_LOG_LEVEL", "warning")

_own_folder = None
if os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
    Path(os.environ["PROMETHEUS_MULTIPROC_DIR"]).mkdir(parents=True, exist_ok=True)
else:
    # Metrics are files in memory: on a disk that clients can fill, a worker that counts would be killed (SIGBUS).
    _own_folder = tempfile.mkdtemp(prefix="gramwatt-metrics-", dir=_ram_disk)
    os.environ["PROMETHEUS_MULTIPROC_DIR"] = _own_folder


def on_exit(server: Any) -> None:
    """Remove the folder of metrics."""
    if _own_folder is not None:
        shutil.rmtree(_own_folder, ignore_errors=True)


def child_exit(server: Any, worker: Any) -> None:
    """Keep the counts of a worker that ended, but not its files."""
    from gramwatt.web.middleware.metrics_files import merge_ended_worker

    merge_ended_worker(Path(os.environ["PROMETHEUS_MULTIPROC_DIR"]), worker.pid)
