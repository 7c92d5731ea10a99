"""Tools for whoever adds a calculator: `make new` and the texts that `make contract` writes."""
