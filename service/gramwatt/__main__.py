"""Start the command line: ``python -m gramwatt``."""

from gramwatt.cli.main import main

__all__ = ["main"]

if __name__ == "__main__":
    main()
