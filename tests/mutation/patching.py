"""Put a mistake into functions that are already imported, which spares a process the import of everything."""

from __future__ import annotations

import functools
import gc
from collections.abc import Iterator
from types import CodeType, FunctionType


def patch(before: bytes, after: bytes, file: str) -> bool:
    """Replace the code of each living function of a module that a mistake changes.

    Return False, and change nothing, where it changes what runs on import: a declaration, a constant, a default.
    """
    old_module, new_module = (compile(source, file, "exec", dont_inherit=True) for source in (before, after))
    changed = list(_changed(old_module, new_module))
    if None in changed or not changed:
        return False
    living = [each for each in gc.get_objects() if isinstance(each, FunctionType) and each.__code__.co_filename == file]
    for pair in changed:
        assert pair is not None
        old, new = pair
        found = [each for each in living if each.__code__ == old]
        if not found:
            return False  # defined within another function, which has not been called
        for function in found:
            function.__code__ = new
    return True


def clear_caches(package: str) -> None:
    """Forget what the cached functions of a package have computed."""
    for each in gc.get_objects():
        if issubclass(type(each), functools._lru_cache_wrapper) and str(each.__module__).startswith(package):
            each.cache_clear()


def _changed(old: CodeType, new: CodeType) -> Iterator[tuple[CodeType, CodeType] | None]:
    """Yield the outermost functions that differ, before and after; None where a module or class body does itself."""
    ours, theirs = ([each for each in code.co_consts if isinstance(each, CodeType)] for code in (old, new))
    if len(ours) != len(theirs) or not _alike(old, new):
        yield None
        return
    for one, other in zip(ours, theirs, strict=True):
        if _equal(one, other):
            continue
        if one.co_flags & 0x0002:  # CO_NEWLOCALS: a function; a class body has none
            yield one, other
        else:
            yield from _changed(one, other)


def _alike(old: CodeType, new: CodeType) -> bool:
    """Whether two code objects are the same but for the functions within them, and for line numbers."""
    plain = [[each for each in code.co_consts if not isinstance(each, CodeType)] for code in (old, new)]
    return (
        old.co_code == new.co_code
        and old.co_names == new.co_names
        and old.co_varnames == new.co_varnames
        and [(type(each), each) for each in plain[0]] == [(type(each), each) for each in plain[1]]
    )


def _equal(old: CodeType, new: CodeType) -> bool:
    ours, theirs = ([each for each in code.co_consts if isinstance(each, CodeType)] for code in (old, new))
    return (
        len(ours) == len(theirs) and _alike(old, new) and all(_equal(*pair) for pair in zip(ours, theirs, strict=True))
    )
