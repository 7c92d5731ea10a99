"""Tools for people who add a calculator: `make new` and the texts that `make contract` writes."""
