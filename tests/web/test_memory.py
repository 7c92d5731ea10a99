"""The allocator's settings: glibc takes them, and other C libraries are left alone."""

from __future__ import annotations

import ctypes
import platform
from collections.abc import Iterator

import pytest

from gramwatt.web.memory import keep_freed_memory


@pytest.fixture(autouse=True)
def _anew() -> Iterator[None]:
    keep_freed_memory.cache_clear()
    yield
    keep_freed_memory.cache_clear()


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="another C library")
def test_glibc_takes_both_settings() -> None:
    assert keep_freed_memory()


@pytest.mark.parametrize("error", [AttributeError, OSError, TypeError])
def test_another_c_library_is_left_alone(monkeypatch: pytest.MonkeyPatch, error: type[Exception]) -> None:
    def unknown(*_: object) -> None:
        raise error

    monkeypatch.setattr(ctypes, "CDLL", unknown)
    assert not keep_freed_memory()
