"""Optional libraries: import one where it is needed, and say how to install it where it is missing."""

from __future__ import annotations

import importlib
import importlib.util
from types import ModuleType


class MissingExtra(ImportError):
    """A library of an optional extra is not installed. Its text names the command that installs it."""

    def __init__(self, library: str, extra: str, purpose: str) -> None:
        super().__init__(
            f"{purpose} need {library}, which is not installed: pip install 'gramwatt[{extra}]'", name=library
        )
        self.library, self.extra = library, extra


def is_installed(library: str) -> bool:
    """Return whether a library can be imported, without importing it."""
    return importlib.util.find_spec(library) is not None


def require(library: str, *, extra: str, purpose: str, name: str | None = None) -> ModuleType:
    """Import a library of an extra and return it.

    ``purpose`` is what needs it, in the plural and as the start of a sentence: "Arrow streams". ``name`` is what the
    library is called where it is imported by another name. Call this where a request first needs the library, before
    the modules that import it at their top. Raises MissingExtra, which the service answers with the problem
    ``not-installed`` (501) and the command line with its text. An ImportError from inside an installed library is
    passed on, since installing it again would not help.
    """
    try:
        return importlib.import_module(library)
    except ModuleNotFoundError as error:
        if error.name != library:
            raise
        raise MissingExtra(name or library, extra, purpose) from error
