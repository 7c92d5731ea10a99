"""The C library's allocator, set for tables: blocks of some megabytes are taken and given back for each piece."""

from __future__ import annotations

import ctypes
import functools
from typing import Final

_TRIM_THRESHOLD: Final = (-1, 32 * 1024 * 1024)
"""glibc's M_TRIM_THRESHOLD: so much free memory at the end of a heap stays with the process."""
_MMAP_THRESHOLD: Final = (-3, 8 * 1024 * 1024)
"""glibc's M_MMAP_THRESHOLD: smaller blocks come from the heap, larger ones go back to the system at once."""


@functools.cache
def keep_freed_memory() -> bool:
    """Keep some freed memory for the next piece of a table; whether the C library can be set so.

    By default glibc returns the memory of each piece to the system and takes it again, page by page, for the next,
    which costs a fifth of the time of an Arrow table. Other C libraries have no such setting and stay as they are.
    """
    try:
        set_option = ctypes.CDLL(None).mallopt
    except (AttributeError, OSError, TypeError):  # not glibc; on Windows there is no process-wide library
        return False
    set_option.argtypes, set_option.restype = (ctypes.c_int, ctypes.c_int), ctypes.c_int
    return all(set_option(*option) == 1 for option in (_TRIM_THRESHOLD, _MMAP_THRESHOLD))
