"""The processes of a pool, as the system lists them."""

from __future__ import annotations

import subprocess
import time
from pathlib import Path


def pool_of(process: subprocess.Popen[bytes]) -> list[int]:
    """Return the processes of the pool, by Linux's list of children."""
    children = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text(encoding="ascii").split()
    return [int(child) for child in children if b"spawn_main" in Path(f"/proc/{child}/cmdline").read_bytes()]


def is_alive(number: int) -> bool:
    try:
        return Path(f"/proc/{number}/stat").read_text(encoding="ascii").rpartition(") ")[2][0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


def wait_until_gone(numbers: list[int]) -> None:
    for _ in range(1200):
        if not any(is_alive(number) for number in numbers):
            return
        time.sleep(0.05)
    raise AssertionError("they are still alive")
