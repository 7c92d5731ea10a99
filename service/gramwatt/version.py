"""The version of the service and of its contract; pyproject.toml says the same, and a test compares them."""

from typing import Final

__version__: Final = "0.1.0"
