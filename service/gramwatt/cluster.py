"""Tables and grids answered beyond one machine, on the workers of a Dask scheduler.

    pip install 'gramwatt[cluster]'                # here and on every machine, all of one version
    dask scheduler                                 # somewhere: says tcp://host:8786
    dask worker tcp://host:8786 --nworkers auto    # on each machine that is to help
    gramwatt batch pack-current packs.parquet -o amps.parquet --scheduler tcp://host:8786

A table is read and written here, in order; its parts are answered there by the function that answers them here. That
function is pure and each part travels with its task, so that a worker that dies loses nothing: the scheduler gives its
parts to another. A bounded number of parts is under way at any time.
"""

from __future__ import annotations

import contextlib
import dataclasses
import logging
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from typing import Any, Final, TypeAlias

from gramwatt.edge.tables.answering import Answered, Plan, answered
from gramwatt.edge.tables.best import Best, Wish, best_of, merged
from gramwatt.edge.tables.chunk import Broken, Chunk
from gramwatt.edge.tables.sweep import Axis, grid, size
from gramwatt.version import __version__

Client: TypeAlias = Any
Future: TypeAlias = Any
"""Dask's own: it may not be installed, and is half typed."""
KNOCK: Final = 3
"""Seconds within which the scheduler must answer."""
CONNECT: Final = 5
"""Seconds within which it must have a worker."""
ALONE: Final = 60
"""Seconds that a run waits without any worker before it is given up."""
RETRIES: Final = 2
"""Further tries of a part whose answering raised. (A worker that dies is another matter: see the scheduler's
``allowed-failures``.)"""
SPAN: Final = 1_000_000
SPAN_EACH: Final = 1_000
"""Points reduced by one task: of a calculator answered by columns, and of one answered question by question."""


class ClusterError(Exception):
    """The cluster cannot be used, or failed; says why in one line for the user."""


@contextlib.contextmanager
def connected(address: str) -> Iterator[Client]:
    """A client of the scheduler, its workers looked over. Raises ClusterError."""
    try:
        import distributed
        from dask.config import set as configured
    except ImportError:
        raise ClusterError("--scheduler needs Dask: pip install 'gramwatt[cluster]'") from None
    make: Any = distributed.Client
    with _quiet():
        _knock(address)
        # A part travels with its task by intent: what was scattered to a worker would be lost with it.
        with configured({"distributed.admin.large-graph-warning-threshold": "1GB"}):
            client = make(address, timeout=CONNECT, set_as_default=False)
            try:
                _look_over(client, address)
                yield client
            finally:
                client.close(timeout=CONNECT)


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Without the library's own lines about lost workers and schedulers: that is dealt with, or told in one line."""
    loggers = [logging.getLogger(name) for name in logging.root.manager.loggerDict if name.startswith("distributed")]
    levels = [logger.level for logger in loggers]
    for logger in loggers:
        logger.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        for logger, level in zip(loggers, levels, strict=True):
            logger.setLevel(level)


def _knock(address: str) -> None:
    """Whether a scheduler answers. (A client that found none could not be put away in silence.)"""
    import asyncio

    import distributed
    from distributed.comm import core

    async def knock() -> None:
        library: Any = distributed
        connect: Any = core.connect
        answer = connect(address, timeout=KNOCK, **library.Security().get_connection_args("client"))
        comm = await asyncio.wait_for(answer, KNOCK + 1)  # what listens may never say a word
        await comm.close()

    try:
        asyncio.run(knock())
    except Exception as error:  # whatever else listens there answers in a language of its own
        detail = str(error).partition("\n")[0] or f"nothing was said in {KNOCK} seconds"
        raise ClusterError(f"--scheduler {address}: no Dask scheduler answers there: {detail}") from None


def _look_over(client: Client, address: str) -> None:
    try:
        client.wait_for_workers(1, timeout=CONNECT)
    except TimeoutError:
        raise ClusterError(f"--scheduler {address}: it has no workers; start one: dask worker {address}") from None
    for worker, found in client.run(_version, on_error="return").items():
        if isinstance(found, BaseException):
            raise ClusterError(f"worker {worker} has no Gramwatt: pip install gramwatt=={__version__} there ({found})")
        if found != __version__:
            raise ClusterError(f"worker {worker} has Gramwatt {found}, and this is {__version__}: answers could differ")


def _version() -> str:
    from gramwatt.version import __version__

    return __version__


def in_order(client: Client, function: Callable[..., Any], parts: Iterable[tuple[Any, ...]]) -> Iterator[Any]:
    """``function(*part)`` of each part, in order, a bounded number of them under way. What reading the parts raises
    is raised after the results of the parts before."""
    source = iter(parts)
    under_way: deque[Future] = deque()
    ended: Broken | bool = False
    most = 2 * sum(client.nthreads().values()) + 2
    done = 0
    while True:
        while not ended and len(under_way) < most:
            try:
                part = next(source, None)
            except Broken as error:
                ended = error
                break
            if part is None:
                ended = True
                break
            under_way.append(client.submit(function, *part, pure=False, retries=RETRIES))
        if not under_way:
            break
        yield _result(client, under_way[0], done)
        under_way.popleft().release()
        done += 1
    if isinstance(ended, Broken):
        raise ended


def _result(client: Client, future: Future, number: int) -> Any:
    """What a task gave. A timeout on the way is the chance to see that nobody is left to do it."""
    from concurrent.futures import CancelledError

    seen = time.monotonic()
    while True:
        try:
            return future.result(timeout=CONNECT)
        except TimeoutError:
            if client.status != "running":
                raise ClusterError("the scheduler is gone; nothing was written") from None
            now = time.monotonic()
            if client.nthreads():
                seen = now
            elif now - seen > ALONE:
                raise ClusterError(f"no worker is left since {ALONE} seconds; nothing was written") from None
        except CancelledError:
            raise ClusterError("the scheduler has dropped the work, or is gone; nothing was written") from None
        except Exception as error:
            detail = str(error).partition("\n")[0][:300]
            raise ClusterError(
                f"part {number + 1} of the work keeps failing on the workers: {type(error).__name__}: {detail}"
            ) from None


def answer_part(plan: Plan, chunk: Chunk) -> list[Answered]:
    """What a worker does with a part of a table."""
    return list(answered(plan, chunk))


class Parts:
    """A table's chunks, each answered on the cluster before it is given out."""

    def __init__(self, client: Client, plan: Plan, pieces: Iterator[Chunk]) -> None:
        self._client, self._plan, self._pieces = client, plan, pieces
        self._sent: deque[Chunk] = deque()
        self._ready: list[Answered] = []

    def __iter__(self) -> Iterator[Chunk]:
        for ready in in_order(self._client, answer_part, self._tasks()):
            self._ready = ready
            yield self._sent.popleft()

    def _tasks(self) -> Iterator[tuple[Plan, Chunk]]:
        for chunk in self._pieces:
            self._sent.append(chunk)
            # What passes through untouched need not travel.
            yield self._plan, dataclasses.replace(chunk, kept={})

    def answered(self, plan: Plan, chunk: Chunk) -> Iterator[Answered]:
        """The answers of the chunk given out last, as `answering.answered` gives them."""
        for piece in self._ready:
            start = piece.first - chunk.first
            piece.kept = {name: column[start : start + piece.rows] for name, column in chunk.kept.items()}
            yield piece


def best_part(plan: Plan, axes: tuple[Axis, ...], wish: Wish, start: int, stop: int) -> tuple[Best, int]:
    """What a worker does with a span of a grid: its best points, and how many had a fault."""
    faulty = 0

    def pieces() -> Iterator[Answered]:
        nonlocal faulty
        for chunk in grid(axes, text=plan.words, start=start, stop=stop):
            for piece in answered(plan, chunk):
                faulty += len(piece.faults)
                yield piece

    return best_of(wish, pieces()), faulty


def spans(plan: Plan, axes: tuple[Axis, ...]) -> Iterator[tuple[int, int]]:
    """A grid in spans that take about a second each."""
    span = SPAN if plan.calculator.columnwise else SPAN_EACH
    points = size(axes)
    for start in range(0, points, span):
        yield start, min(start + span, points)


def best_on(
    client: Client | None, plan: Plan, axes: tuple[Axis, ...], wish: Wish, advance: Callable[[int], None]
) -> tuple[Best, int]:
    """The best points of a grid and how many had a fault, by the cluster's workers or, without a client, here."""
    tasks = ((plan, axes, wish, start, stop) for start, stop in spans(plan, axes))
    found: Iterator[Any]
    found = (best_part(*task) for task in tasks) if client is None else in_order(client, best_part, tasks)
    best, faulty = best_of(wish, iter(())), 0
    for (start, stop), (some, faults) in zip(spans(plan, axes), found, strict=True):
        best, faulty = merged(wish, best, some), faulty + faults
        advance(stop - start)
    return best, faulty
