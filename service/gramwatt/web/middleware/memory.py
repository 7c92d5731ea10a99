"""The C library's allocator: set for tables, whose blocks come and go, and emptied after long work."""

from __future__ import annotations

import ctypes
import functools
import sys
import threading
from typing import Any, Final

_TRIM_THRESHOLD: Final = (-1, 32 * 1024 * 1024)
"""glibc's M_TRIM_THRESHOLD: so much free memory at the end of a heap stays with the process."""
_MMAP_THRESHOLD: Final = (-3, 8 * 1024 * 1024)
"""glibc's M_MMAP_THRESHOLD: smaller blocks come from the heap, larger ones go back to the system at once."""
_ARENA_MAX: Final = (-8, 2)
"""glibc's M_ARENA_MAX: heaps, which threads share; each keeps free memory of its own."""
IDLE_SECONDS: Final = 1.0
"""Seconds without long work after which freed memory goes back to the system."""


@functools.cache
def keep_freed_memory() -> bool:
    """Keep some freed memory for the next chunk of a table; return whether the C library supports that.

    By default glibc returns the memory of each chunk to the system and takes it again, page by page, for the next,
    which costs a fifth of the time of an Arrow table. Other C libraries have no such setting and stay as they are.
    """
    set_option = _library_function("mallopt", ctypes.c_int, ctypes.c_int)
    options = (_TRIM_THRESHOLD, _MMAP_THRESHOLD, _ARENA_MAX)
    return set_option is not None and all(set_option(*option) == 1 for option in options)


def return_freed_memory() -> bool:
    """Return freed memory to the system; return whether the C library supports that."""
    arrow = sys.modules.get("pyarrow")
    if arrow is not None:
        arrow.default_memory_pool().release_unused()
    trim = _library_function("malloc_trim", ctypes.c_size_t)
    return trim is not None and trim(0) in (0, 1)


class MemoryTrimmer:
    """Call `return_freed_memory` once no long work has been "running" for `IDLE_SECONDS` seconds."""

    def __init__(self, idle: float = IDLE_SECONDS) -> None:
        self._idle, self._running = idle, 0
        self._lock = threading.Lock()
        self._timer: threading.Timer | None = None

    def observe(self, state: str, change: int) -> None:
        """Handle a change in the number of requests in a state."""
        if state != "running":
            return
        keep_freed_memory()  # before the first thread makes a heap of its own
        with self._lock:
            self._running += change
            if self._running == 0 and self._timer is None:
                self._timer = threading.Timer(self._idle, self._return_if_idle)
                self._timer.daemon = True
                self._timer.start()

    def _return_if_idle(self) -> None:
        with self._lock:
            self._timer = None
            idle = self._running == 0
        if idle:
            return_freed_memory()


def _library_function(name: str, *argument_types: Any) -> Any:
    """Return a function of the C library that returns an int; None where there is no such function."""
    try:
        function = getattr(ctypes.CDLL(None), name)
    except (AttributeError, OSError, TypeError):  # not glibc; on Windows there is no process-wide library
        return None
    function.argtypes, function.restype = argument_types, ctypes.c_int
    return function
