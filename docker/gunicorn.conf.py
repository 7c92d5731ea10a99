"""How the service is run: `gramwatt serve` and the container read this one file.

Environment: GRAMWATT_SERVER, events (default) or threads; WEB_CONCURRENCY workers (default 2); GRAMWATT_LONG_THREADS
threads in each for long requests (default 4; of events); GRAMWATT_THREADS threads in each (default 8; of threads);
GRAMWATT_ACCESS_LOG=1 for a line a request.

An event loop, because it answers plain questions one and a half times as fast as threads do, and because 2,400 silent
clients do not slow it, while eight hold up a worker's threads while its patience lasts (benchmarks/fault_trial.py).
Threads lose fewer requests when a worker is killed. With sync workers two silent sockets would stop the service.
Preload, so that units, schemas and contract are built once, before any thread starts.
"""

import os
import shutil
import tempfile

from gramwatt.serve import ProblemWorker
from gramwatt.serve_events import EventsWorker

_server = os.environ.get("GRAMWATT_SERVER") or "events"
if _server not in ("threads", "events"):
    raise ValueError(f"GRAMWATT_SERVER={_server}: say threads or events")
worker_class = EventsWorker if _server == "events" else ProblemWorker
workers = int(os.environ.get("WEB_CONCURRENCY") or 2)
threads = int(os.environ.get("GRAMWATT_THREADS") or 8) if _server == "threads" else 1
asgi_loop = "asyncio"  # of events: Python's own, whatever else is installed
preload_app = True
wsgi_app = "gramwatt.web:create_app()"

backlog = 4096  # who finds it full tries again only after a second
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

_metrics = None  # the metrics' folder where it is our own; a reload (SIGHUP) reads this file again and finds it
if not os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
    os.environ["PROMETHEUS_MULTIPROC_DIR"] = tempfile.mkdtemp(prefix="gramwatt-metrics-")
if os.path.basename(os.environ["PROMETHEUS_MULTIPROC_DIR"]).startswith("gramwatt-metrics-"):
    _metrics = os.environ["PROMETHEUS_MULTIPROC_DIR"]


def on_exit(server):
    """Take the metrics' folder away again."""
    if _metrics is not None:
        shutil.rmtree(_metrics, ignore_errors=True)


def child_exit(server, worker):
    """Let the metrics of a worker that ended count on, but not as alive."""
    from prometheus_client import multiprocess

    multiprocess.mark_process_dead(worker.pid)
