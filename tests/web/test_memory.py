"""The allocator: glibc takes settings and gives memory back, and other C libraries are left alone."""

from __future__ import annotations

import ctypes
import platform
import subprocess
import sys
import threading
from collections.abc import Iterator

import pytest

from gramwatt.web.middleware import memory
from gramwatt.web.middleware.memory import keep_freed_memory


@pytest.fixture(autouse=True)
def _anew() -> Iterator[None]:
    keep_freed_memory.cache_clear()
    yield
    keep_freed_memory.cache_clear()


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="another C library")
def test_glibc_takes_all_settings() -> None:
    assert keep_freed_memory()


@pytest.mark.parametrize("error", [AttributeError, OSError, TypeError])
def test_another_c_library_is_left_alone(monkeypatch: pytest.MonkeyPatch, error: type[Exception]) -> None:
    def unknown(*_: object) -> None:
        raise error

    monkeypatch.setattr(ctypes, "CDLL", unknown)
    assert not keep_freed_memory()


def test_memory_goes_back_once_no_long_work_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    """It goes back a moment after the last of several requests, and not while another runs."""
    returned: list[bool] = []
    done = threading.Event()

    def note() -> bool:
        returned.append(True)
        done.set()
        return True

    monkeypatch.setattr(memory, "return_freed_memory", note)
    returner = memory.MemoryTrimmer(idle=0.05)
    for state, change in (("waiting", 1), ("running", 1), ("running", 1), ("waiting", -1), ("running", -1)):
        returner.observe(state, change)
    assert not done.wait(0.2)
    returner.observe("running", -1)
    assert done.wait(10)
    assert len(returned) == 1


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="another C library")
def test_memory_of_many_threads_goes_back() -> None:
    """Blocks that several threads allocated and freed leave the process, though one stays above them in each heap."""
    program = """
import threading
from pathlib import Path
from gramwatt.web.middleware.memory import keep_freed_memory, return_freed_memory

def resident():
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096

stayed = []
def work():
    blocks = [bytearray(200_000) for _ in range(200)]
    stayed.append(bytearray(1000))
    del blocks

keep_freed_memory()
before = resident()
threads = [threading.Thread(target=work) for _ in range(16)]
for thread in threads: thread.start()
for thread in threads: thread.join()
freed = resident()
assert return_freed_memory()
print(freed - before, resident() - before)
"""
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    freed, returned = map(int, ran.stdout.split())
    assert returned < 32 * 1024 * 1024 < freed
