"""The thread that takes a body in while its response goes out: order, disk, errors in their place, and its end."""

from __future__ import annotations

import random
import threading
from collections.abc import Callable, Iterator, Sequence

import pytest

from gramwatt.engine.tables.chunks import MalformedTable
from gramwatt.web import request_body
from gramwatt.web.request_body import CHUNK_BYTES, MAX_MEMORY_BYTES, RequestBodyReader

PLENTY = 1024**3


class Sender:
    """A body in pieces, then an error or its end; after ``held`` pieces it waits until `go_on`."""

    def __init__(self, pieces: Sequence[bytes], error: Exception | None = None, held: int | None = None) -> None:
        self._pieces, self._error, self._held = iter(pieces), error, held
        self.given, self.sizes = 0, set[int]()
        self.waiting, self.go_on, self.done = threading.Event(), threading.Event(), threading.Event()

    def read(self, size: int) -> bytes:
        """Return what `RequestBodyReader` calls."""
        self.sizes.add(size)
        if self.given == self._held:
            self.waiting.set()
            assert self.go_on.wait(60)
        piece = next(self._pieces, b"")
        if not piece:
            self.done.set()
            if self._error is not None:
                raise self._error
        self.given += 1
        return piece


def read_all(body: RequestBodyReader, sizes: Callable[[], int] = lambda: 65536) -> Iterator[bytes]:
    while piece := body.read(sizes()):
        yield piece


def spilled(body: RequestBodyReader) -> bool:
    """Whether it ever wrote to disk."""
    return body._file is not None


def noise(size: int, seed: int = 1) -> bytes:
    return random.Random(seed).randbytes(size)


def pieces_of(raw: bytes, size: int) -> list[bytes]:
    return [raw[at : at + size] for at in range(0, len(raw), size)]


SIZES = [
    pytest.param(b"", 10, id="nothing"),
    pytest.param(b"abc", 1, id="single-bytes"),
    pytest.param(noise(1_000_003), 777, id="in-memory"),
    pytest.param(noise(MAX_MEMORY_BYTES), CHUNK_BYTES, id="just-the-memory"),
    pytest.param(noise(MAX_MEMORY_BYTES + 1), CHUNK_BYTES, id="a-byte-more"),
    pytest.param(noise(3 * MAX_MEMORY_BYTES + 5), CHUNK_BYTES - 1, id="thrice-the-memory"),
]


@pytest.mark.parametrize(("raw", "size"), SIZES)
def test_all_that_is_sent_before_any_is_read_comes_in_order(raw: bytes, size: int) -> None:
    sender = Sender(pieces_of(raw, size))
    body = RequestBodyReader(sender.read, PLENTY)
    assert sender.done.wait(60)
    assert b"".join(read_all(body)) == raw
    assert spilled(body) == (len(raw) > MAX_MEMORY_BYTES)
    assert body.read(1) == b"", "the end stays the end"
    body.finish()
    assert max(sender.sizes) <= CHUNK_BYTES


@pytest.mark.parametrize(("raw", "size"), SIZES)
def test_what_is_read_while_it_comes_is_in_order(raw: bytes, size: int) -> None:
    """Read in chunks of many sizes: from memory, across its end, and from disk while more is written there."""
    sizes = random.Random(2)
    body = RequestBodyReader(Sender(pieces_of(raw, size)).read, PLENTY)
    assert b"".join(read_all(body, lambda: sizes.randint(1, 2 * CHUNK_BYTES))) == raw
    body.finish()


def test_memory_disk_memory_and_disk_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Once what lay on disk is read, memory is used again, and then the same place on disk."""
    monkeypatch.setattr(request_body, "MAX_MEMORY_BYTES", 10)
    raw = noise(60)
    sender = Sender(pieces_of(raw, 5), held=5)
    body = RequestBodyReader(sender.read, PLENTY)
    assert sender.waiting.wait(60)
    assert spilled(body)
    assert b"".join(body.read(7) for _ in range(4)) == raw[:25]
    assert body._written == body._taken == 0, "the disk is empty again"
    sender.go_on.set()
    assert sender.done.wait(60)
    assert b"".join(read_all(body, lambda: 7)) == raw[25:]
    body.finish()


def test_never_more_than_requested_for() -> None:
    body = RequestBodyReader(Sender([b"abcdef", b"ghi"]).read, PLENTY)
    assert all(len(piece) <= 4 for piece in read_all(body, lambda: 4))
    body.finish()


def test_a_reader_waits_for_bytes() -> None:
    sender = Sender([b"late"], held=0)
    body = RequestBodyReader(sender.read, PLENTY)
    read: list[bytes] = []
    reader = threading.Thread(target=lambda: read.append(body.read(10)))
    reader.start()
    assert sender.waiting.wait(60)
    assert read == []
    sender.go_on.set()
    reader.join(60)
    assert read == [b"late"]
    body.finish()


@pytest.mark.parametrize("size", [pytest.param(10, id="memory"), pytest.param(MAX_MEMORY_BYTES, id="disk")])
def test_an_error_is_raised_only_after_the_bytes_before_it(size: int) -> None:
    raw = noise(size * 2)
    sender = Sender(pieces_of(raw, min(size, CHUNK_BYTES)), MalformedTable("the body breaks off"))
    body = RequestBodyReader(sender.read, PLENTY)
    assert sender.done.wait(60)
    got = b""
    while len(got) < len(raw):
        got += body.read(100_000)
    assert got == raw
    for _ in range(2):
        with pytest.raises(MalformedTable, match="breaks off"):
            body.read(100_000)
    body.finish()


def test_an_error_wakes_a_reader_that_waits() -> None:
    sender = Sender([], OSError("gone"), held=0)
    body = RequestBodyReader(sender.read, PLENTY)
    output: list[Exception] = []

    def read() -> None:
        try:
            body.read(10)
        except OSError as error:
            output.append(error)

    reader = threading.Thread(target=read)
    reader.start()
    assert sender.waiting.wait(60)
    sender.go_on.set()
    reader.join(60)
    assert [str(error) for error in output] == ["gone"]
    body.finish()


@pytest.mark.parametrize(
    ("limit", "good"),
    [
        pytest.param(99, False, id="a-byte-over"),
        pytest.param(100, True, id="exactly"),
        pytest.param(0, False, id="nothing-allowed"),
    ],
)
def test_the_limit(limit: int, good: bool) -> None:
    body = RequestBodyReader(Sender([b"x" * 50, b"y" * 50]).read, limit)
    if good:
        assert b"".join(read_all(body, lambda: 10)) == b"x" * 50 + b"y" * 50
    else:
        with pytest.raises(MalformedTable) as raised:
            list(read_all(body, lambda: 10))
        assert raised.value.kind == "too-large"
        assert raised.value.detail == f"the table is larger than {limit} bytes"
    body.finish()


def test_what_came_within_the_limit_is_read_before_the_rest_is_rejected() -> None:
    body = RequestBodyReader(Sender([b"x" * 50, b"y" * 50]).read, 60)
    assert body.read(100) == b"x" * 50
    with pytest.raises(MalformedTable):
        body.read(100)
    body.finish()


@pytest.mark.parametrize(
    "before", [pytest.param(1, id="memory"), pytest.param(2 * MAX_MEMORY_BYTES // CHUNK_BYTES, id="disk")]
)
def test_finish_drains_what_is_still_sent_and_ends_the_thread(before: int) -> None:
    """The sender goes on after nobody reads any more: the next request on its connection must begin at its begin."""
    after = 100
    sender = Sender([b"z" * CHUNK_BYTES] * (before + after), held=before)
    body = RequestBodyReader(sender.read, PLENTY)
    assert sender.waiting.wait(60)
    finishing = threading.Thread(target=body.finish)
    finishing.start()
    sender.go_on.set()
    finishing.join(60)
    assert not finishing.is_alive()
    assert not body._thread.is_alive()
    assert sender.done.is_set()
    assert body._memory_bytes <= CHUNK_BYTES
    assert body._file is None or body._file.closed


def test_finish_after_an_error_ends_too() -> None:
    body = RequestBodyReader(Sender([b"x"], OSError("gone")).read, PLENTY)
    body.finish()
    assert not body._thread.is_alive()


def test_finish_may_be_called_twice() -> None:
    """As when a result fails after its body was given up."""
    body = RequestBodyReader(Sender([b"x" * CHUNK_BYTES] * 40).read, PLENTY)
    body.finish()
    body.finish()
    assert not body._thread.is_alive()


@pytest.mark.parametrize(("more", "taken"), [(10, 12), (1000, None)], ids=["a little", "very much"])
def test_beyond_the_limit_some_more_is_taken_and_dropped(
    monkeypatch: pytest.MonkeyPatch, more: int, taken: int | None
) -> None:
    """So that a client that sends all before it reads comes to read why; not for ever."""
    monkeypatch.setattr(request_body, "MAX_DRAINED_BYTES", 500)
    given = 0

    def read(size: int) -> bytes:
        nonlocal given
        given += 1
        return b"z" * 10 if given <= 2 + more else b""

    body = RequestBodyReader(read, 15)
    assert body.read(100) == b"z" * 10
    with pytest.raises(MalformedTable, match="larger than 15 bytes"):
        body.read(100)
    body.finish()
    assert given - 1 == taken if taken is not None else given == 2 + 50
