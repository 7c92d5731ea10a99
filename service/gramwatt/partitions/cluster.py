"""Compute parts and blocks on several machines, with the workers of a Dask scheduler.

    pip install 'gramwatt[cluster]'                # here and on every machine, all of one version
    dask scheduler                                 # somewhere: prints tcp://host:8786
    dask worker tcp://host:8786 --nworkers auto    # on each machine that takes part
    gramwatt batch pack-current /data/packs.parquet -o /data/amps/ --scheduler tcp://host:8786

The table and the output are on storage that every machine sees under the same path. Only the description of a part
goes through the client and the scheduler, and only counts come back. A part can be computed again with the same result:
if a worker dies, the scheduler gives its parts to another.
"""

from __future__ import annotations

import contextlib
import logging
import time
import warnings
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import CancelledError
from typing import Any, Final, TypeAlias

from gramwatt.extras import require
from gramwatt.partitions.sources import SourceError
from gramwatt.partitions.workers import BLOCKS_PER_WORKER, WorkersError, look_ahead
from gramwatt.version import __version__

Client: TypeAlias = Any
Future: TypeAlias = Any
"""Types of Dask, which may not be installed and is only partly typed."""
REACH_TIMEOUT: Final = 8
"""Seconds within which the scheduler must respond."""
CONNECT_TIMEOUT: Final = 5
"""Seconds within which it must have a worker."""
NO_WORKER_TIMEOUT: Final = 60
"""Seconds without any worker after which a run fails."""
RETRIES: Final = 2
"""Retries of a part that raised. For workers that die see ``allowed-failures`` of the scheduler."""


class ClusterError(WorkersError):
    """The cluster cannot be used, or failed. The text is one line for the user."""


@contextlib.contextmanager
def connect(address: str) -> Iterator[Cluster]:
    """Connect to a scheduler and check its workers. Raises ClusterError, MissingExtra."""
    library: Any = require("distributed", extra="cluster", purpose="Runs on several machines (--scheduler)")
    with _silence_logging():
        _check_scheduler(address)
        client = library.Client(address, timeout=CONNECT_TIMEOUT, set_as_default=False)
        try:
            _check_workers(client, address)
            with client.as_current():
                yield Cluster(client)
        finally:
            client.close(timeout=CONNECT_TIMEOUT)


@contextlib.contextmanager
def _silence_logging() -> Iterator[None]:
    """Silence the log of the library about lost workers and schedulers, which are handled or reported in one line."""
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
    """Check that a scheduler responds. A client without one could not be closed silently."""
    import asyncio

    import distributed
    from distributed.comm import core

    async def reach() -> None:
        library: Any = distributed
        connect: Any = core.connect
        connection = connect(address, timeout=REACH_TIMEOUT, **library.Security().get_connection_args("client"))
        comm = await asyncio.wait_for(connection, REACH_TIMEOUT + 1)  # another server may stay silent
        await comm.close()

    try:
        asyncio.run(reach())
    except Exception as error:  # another server may respond in any protocol
        detail = str(error).partition("\n")[0] or f"no response within {REACH_TIMEOUT} seconds"
        raise ClusterError(f"--scheduler {address}: no Dask scheduler responds there: {detail}") from None


def _check_workers(client: Client, address: str) -> None:
    try:
        client.wait_for_workers(1, timeout=CONNECT_TIMEOUT)
    except TimeoutError:
        raise ClusterError(f"--scheduler {address}: it has no workers; start one with: dask worker {address}") from None
    for worker, version in client.run(_version, on_error="return").items():
        if isinstance(version, BaseException):
            raise ClusterError(
                f"--scheduler {address}: worker {worker} has no Gramwatt; install it there: "
                f"pip install gramwatt=={__version__} ({version})"
            )
        if version != __version__:
            raise ClusterError(
                f"--scheduler {address}: worker {worker} has Gramwatt {version}, but this is {__version__}; "
                "use one version everywhere"
            )


def _version() -> str:
    from gramwatt.version import __version__

    return __version__


class Cluster:
    """The workers of a scheduler, as `partitions.workers.Workers`."""

    def __init__(self, client: Client) -> None:
        self._client = client

    @property
    def threads(self) -> int:
        """The number of tasks that the workers compute at once."""
        return sum(self._client.nthreads().values())

    def run(self, function: Callable[..., Any], tasks: Iterable[tuple[Any, ...]]) -> Iterator[Any]:
        """Yield ``function(*task)`` for each task as it is ready. Raises ClusterError, SourceError."""
        source, pending = iter(tasks), set[Future]()
        while True:
            limit = 2 * self.threads + 2
            while len(pending) < limit and (task := next(source, None)) is not None:
                pending.add(self._client.submit(function, *task, pure=False, retries=RETRIES))
            if not pending:
                return
            finished, pending = self._wait(pending)
            for future in sorted(finished, key=lambda future: str(future.status) != "finished"):
                yield self._result(future)
                future.release()

    def map(self, function: Callable[[Any], Any], blocks: Iterable[Any], /) -> Iterator[Any]:
        """Yield ``function(block)`` in the order of the blocks. Raises ClusterError.

        The function is the result of a task of its own: workers fetch it from each other, and if all that have it die,
        the scheduler makes it again, which it could not do with scattered data.
        """
        with warnings.catch_warnings(action="ignore"):  # that the function is large
            held = self._client.submit(_hold, function, pure=False, retries=RETRIES)
        sent = (self._client.submit(_compute_block, held, block, pure=False, retries=RETRIES) for block in blocks)
        for future in look_ahead(sent, BLOCKS_PER_WORKER * self.threads + 2):
            self._wait({future})
            yield self._result(future, "block")

    def _wait(self, pending: set[Future]) -> tuple[set[Future], set[Future]]:
        """Wait until a task ends. At each timeout, check that a worker is left."""
        import distributed

        wait: Any = distributed.wait
        last_seen = time.monotonic()
        while True:
            try:
                result = wait(pending, timeout=CONNECT_TIMEOUT, return_when="FIRST_COMPLETED")
                return set(result.done), set(result.not_done)
            except TimeoutError:
                if self._client.status != "running":
                    raise ClusterError("the scheduler no longer responds") from None
                now = time.monotonic()
                if self.threads:
                    last_seen = now
                elif now - last_seen > NO_WORKER_TIMEOUT:
                    raise ClusterError(f"the scheduler has had no worker for {NO_WORKER_TIMEOUT} seconds") from None
            except CancelledError:
                raise ClusterError("the scheduler dropped the work, or no longer responds") from None

    def _result(self, future: Future, noun: str = "part") -> Any:
        try:
            return future.result(timeout=NO_WORKER_TIMEOUT)  # the part is computed again if its worker was killed
        except SourceError:
            raise
        except CancelledError:
            raise ClusterError("the scheduler dropped the work, or no longer responds") from None
        except Exception as error:
            detail = str(error).partition("\n")[0][:300]
            raise ClusterError(f"a {noun} keeps failing on the workers: {type(error).__name__}: {detail}") from None


def _hold(function: Callable[[Any], Any]) -> Callable[[Any], Any]:
    return function


def _compute_block(function: Callable[[Any], Any], block: Any) -> Any:
    return function(block)
