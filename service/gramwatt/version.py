"""The version of the service and of its contract; pyproject.toml reads it from here."""

from typing import Final

__version__: Final = "0.2.0"
