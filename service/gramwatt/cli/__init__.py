"""The command line. `main` is the program; each command has a module of its own, imported when it is used."""
