"""Parts of tables and grids computed on several machines, by the workers of a Dask scheduler.

    pip install 'gramwatt[cluster]'                # here and on every machine, all of one version
    dask scheduler                                 # somewhere: prints tcp://host:8786
    dask worker tcp://host:8786 --nworkers auto    # on each machine that is to help
    gramwatt batch pack-current /data/packs.parquet -o /data/amps/ --scheduler tcp://host:8786

The table and the output are on storage that every machine has under the same path. Only the description of a part
goes through the client and the scheduler, and only counts come back. A part is computed the same however often: if a
worker dies, the scheduler gives its parts to another.
"""

from __future__ import annotations

import contextlib
import logging
import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import CancelledError
from typing import Any, Final, TypeAlias

from gramwatt.extras import require
from gramwatt.partitions.sources import SourceError
from gramwatt.partitions.workers import WorkersError
from gramwatt.version import __version__

Client: TypeAlias = Any
Future: TypeAlias = Any
"""Dask's own: it may not be installed, and is partly typed."""
REACH_TIMEOUT: Final = 3
"""Seconds within which the scheduler must answer."""
CONNECT_TIMEOUT: Final = 5
"""Seconds within which it must have a worker."""
NO_WORKER_TIMEOUT: Final = 60
"""Seconds that a run waits without any worker before it gives up."""
RETRIES: Final = 2
"""Further tries of a part whose computing raised. (A worker that dies is another matter: see the scheduler's
``allowed-failures``.)"""


class ClusterError(WorkersError):
    """The cluster cannot be used, or failed; the text is one line for the user."""


@contextlib.contextmanager
def connect(address: str) -> Iterator[Cluster]:
    """Connect to a scheduler and check its workers. Raises ClusterError, MissingExtra."""
    library: Any = require("distributed", extra="cluster", purpose="Runs on several machines (--scheduler)")
    with _quiet():
        _check_scheduler(address)
        client = library.Client(address, timeout=CONNECT_TIMEOUT, set_as_default=False)
        try:
            _check_workers(client, address)
            with client.as_current():
                yield Cluster(client)
        finally:
            client.close(timeout=CONNECT_TIMEOUT)


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Silence the library's own lines about lost workers and schedulers: they are handled, or reported in one line."""
    loggers = [logging.getLogger(name) for name in logging.root.manager.loggerDict if name.startswith("distributed")]
    levels = [logger.level for logger in loggers]
    for logger in loggers:
        logger.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        for logger, level in zip(loggers, levels, strict=True):
            logger.setLevel(level)


def _check_scheduler(address: str) -> None:
    """Check that a scheduler answers. (A client that found none could not be closed in silence.)"""
    import asyncio

    import distributed
    from distributed.comm import core

    async def reach() -> None:
        library: Any = distributed
        connect: Any = core.connect
        answer = connect(address, timeout=REACH_TIMEOUT, **library.Security().get_connection_args("client"))
        comm = await asyncio.wait_for(answer, REACH_TIMEOUT + 1)  # what listens may never say a word
        await comm.close()

    try:
        asyncio.run(reach())
    except Exception as error:  # whatever else listens there answers in a language of its own
        detail = str(error).partition("\n")[0] or f"no answer within {REACH_TIMEOUT} seconds"
        raise ClusterError(f"--scheduler {address}: no Dask scheduler answers there: {detail}") from None


def _check_workers(client: Client, address: str) -> None:
    try:
        client.wait_for_workers(1, timeout=CONNECT_TIMEOUT)
    except TimeoutError:
        raise ClusterError(f"--scheduler {address}: it has no workers; start one: dask worker {address}") from None
    for worker, found in client.run(_version, on_error="return").items():
        if isinstance(found, BaseException):
            raise ClusterError(
                f"--scheduler {address}: worker {worker} has no Gramwatt: pip install gramwatt=={__version__} there "
                f"({found})"
            )
        if found != __version__:
            raise ClusterError(
                f"--scheduler {address}: worker {worker} has Gramwatt {found}, and this is {__version__}: "
                "results could differ"
            )


def _version() -> str:
    from gramwatt.version import __version__

    return __version__


class Cluster:
    """The workers of a scheduler, as `parts.workers.Workers`."""

    def __init__(self, client: Client) -> None:
        self._client = client

    @property
    def threads(self) -> int:
        """How many tasks the workers compute at once."""
        return sum(self._client.nthreads().values())

    def run(self, function: Callable[..., Any], tasks: Iterable[tuple[Any, ...]]) -> Iterator[Any]:
        """Yield ``function(*task)`` of each task as it is ready. Raises ClusterError, SourceError."""
        source, under_way = iter(tasks), set[Future]()
        while True:
            most = 2 * self.threads + 2
            while len(under_way) < most and (task := next(source, None)) is not None:
                under_way.add(self._client.submit(function, *task, pure=False, retries=RETRIES))
            if not under_way:
                return
            finished, under_way = self._wait(under_way)
            for future in sorted(finished, key=lambda future: str(future.status) != "finished"):
                yield self._result(future)
                future.release()

    def _wait(self, under_way: set[Future]) -> tuple[set[Future], set[Future]]:
        """Wait until a task ends. At each timeout, check that a worker is left to do it."""
        import distributed

        wait: Any = distributed.wait
        seen = time.monotonic()
        while True:
            try:
                found = wait(under_way, timeout=CONNECT_TIMEOUT, return_when="FIRST_COMPLETED")
                return set(found.done), set(found.not_done)
            except TimeoutError:
                if self._client.status != "running":
                    raise ClusterError("the scheduler is gone") from None
                now = time.monotonic()
                if self.threads:
                    seen = now
                elif now - seen > NO_WORKER_TIMEOUT:
                    raise ClusterError(f"no worker is left since {NO_WORKER_TIMEOUT} seconds") from None
            except CancelledError:
                raise ClusterError("the scheduler has dropped the work, or is gone") from None

    def _result(self, future: Future) -> Any:
        try:
            return future.result(timeout=CONNECT_TIMEOUT)
        except SourceError:
            raise
        except CancelledError:
            raise ClusterError("the scheduler has dropped the work, or is gone") from None
        except Exception as error:
            detail = str(error).partition("\n")[0][:300]
            raise ClusterError(f"a part keeps failing on the workers: {type(error).__name__}: {detail}") from None
