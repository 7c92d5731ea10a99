"""How the service is run: `gramwatt serve` and the container read this one file.

gthread, because with sync workers two silent sockets stop the service; preload, so that units, schemas and contract
are built once, before any thread starts. Environment: WEB_CONCURRENCY workers (default 2), GRAMWATT_THREADS threads
in each (default 8), GRAMWATT_ACCESS_LOG=1 for a line a request.
"""

import os
import shutil
import tempfile

from gramwatt.serve import ProblemWorker

worker_class = ProblemWorker
workers = int(os.environ.get("WEB_CONCURRENCY") or 2)
threads = int(os.environ.get("GRAMWATT_THREADS") or 8)
preload_app = True
wsgi_app = "gramwatt.web:create_app()"

timeout = 30
graceful_timeout = 20
keepalive = 75
max_requests = 100_000
max_requests_jitter = 10_000

limit_request_line = 8190
limit_request_fields = 64
limit_request_field_size = 8190
control_socket_disable = True
worker_tmp_dir = "/dev/shm" if os.path.isdir("/dev/shm") else None  # noqa: S108 - a RAM disk for heartbeats
accesslog = "-" if os.environ.get("GRAMWATT_ACCESS_LOG") == "1" else None
errorlog = "-"
loglevel = os.environ.get("GRAMWATT_LOG_LEVEL", "warning")

_metrics = None
if not os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
    _metrics = os.environ["PROMETHEUS_MULTIPROC_DIR"] = tempfile.mkdtemp(prefix="gramwatt-metrics-")


def on_exit(server):
    """Take the metrics' folder away again."""
    if _metrics is not None:
        shutil.rmtree(_metrics, ignore_errors=True)


def child_exit(server, worker):
    """Let the metrics of a worker that ended count on, but not as alive."""
    from prometheus_client import multiprocess

    multiprocess.mark_process_dead(worker.pid)
