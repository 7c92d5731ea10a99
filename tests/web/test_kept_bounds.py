"""How much is kept in front of an application, and of what."""

from __future__ import annotations

import threading
from collections.abc import Iterable, Iterator
from typing import Any

import pytest

from gramwatt.web.kept import LARGEST, Kept

ID = "01234567-89ab-cdef-0123-456789abcdef"


class Toy:
    """An application that answers with as much as its path says and counts how often it is asked."""

    def __init__(self, **headers: str) -> None:
        self.asked: list[str] = []
        self.closed = 0
        self._headers = headers

    def __call__(self, environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
        size = int(environ["PATH_INFO"].strip("/"))
        self.asked.append(environ["PATH_INFO"])
        environ["gramwatt.route"] = "/toy"
        headers = {
            "ETag": f'"{size}"',
            "Cache-Control": "public, max-age=1",
            "X-Request-ID": ID,
            "Content-Length": str(size),
            **self._headers,
        }
        start_response("200 OK", list(headers.items()))
        return self._pieces(size)

    def _pieces(self, size: int) -> Iterator[bytes]:
        try:
            yield b"x" * (size - 1)
            yield b"x"
        finally:
            self.closed += 1


def ask(kept: Kept, size: int) -> bytes:
    environ = {"REQUEST_METHOD": "GET", "PATH_INFO": f"/{size}", "QUERY_STRING": ""}
    return b"".join(kept(environ, lambda *_: None))


def test_the_least_recently_used_is_forgotten_first() -> None:
    toy = Toy()
    kept = Kept(toy, most_answers=3)
    for size in (1, 2, 3, 1, 4, 1, 3, 4, 2):
        assert ask(kept, size) == b"x" * size
    assert toy.asked == ["/1", "/2", "/3", "/4", "/2"]
    assert len(kept) == 3
    assert toy.closed == len(toy.asked)


def test_their_bytes_are_bounded() -> None:
    toy = Toy()
    kept = Kept(toy, most_bytes=100_000)
    for size in range(9_000, 9_100):
        ask(kept, size)
        assert kept.bytes <= 100_000
    assert 5 <= len(kept) <= 11
    assert kept.bytes >= len(kept) * 9_000


def test_one_that_is_too_large_passes_unkept() -> None:
    kept = Kept(Toy())
    assert ask(kept, LARGEST) == b"x" * LARGEST
    assert len(kept) == 1
    assert ask(kept, LARGEST + 1) == b"x" * (LARGEST + 1)
    assert len(kept) == 1


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("ETag", 'W/"1"'),
        ("Cache-Control", "max-age=1"),
        ("Cache-Control", "public, no-store"),
        ("Cache-Control", "private"),
        ("Vary", "Accept, Origin"),
        ("Vary", "*"),
        ("Set-Cookie", "a=b"),
        ("Content-Length", "7"),
    ],
)
def test_what_says_otherwise_is_not_kept(name: str, value: str) -> None:
    kept = Kept(Toy(**{name: value}))
    assert ask(kept, 5) == b"xxxxx"
    assert len(kept) == 0


def test_many_threads_get_the_right_answers_and_keep_the_bounds() -> None:
    kept = Kept(Toy(), most_answers=20)
    wrong: list[int] = []

    def work(seed: int) -> None:
        for step in range(400):
            size = 1 + (seed * 31 + step * 7) % 40
            if ask(kept, size) != b"x" * size:
                wrong.append(size)

    threads = [threading.Thread(target=work, args=(seed,)) for seed in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []
    assert len(kept) == 20
    assert kept.bytes == sum(answer.size for answer in kept._answers.values())
