"""``gramwatt serve``: start the service."""

from __future__ import annotations

import os
import shlex
import shutil
import sys
from pathlib import Path
from urllib.parse import parse_qsl

import click

from gramwatt.engine import registry
from gramwatt.engine.calculate import compute_response
from gramwatt.engine.query_strings import find_example_query
from gramwatt.model.messages import format_quantity
from gramwatt.version import __version__


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on.")
@click.option("--port", default=8000, show_default=True, type=click.IntRange(1, 65535), help="Port to listen on.")
def serve(host: str, port: int) -> None:
    """Start the service. Stop it with Ctrl+C."""
    from gramwatt.server.run import serve as run_server

    hostname = "localhost" if host in ("127.0.0.1", "0.0.0.0", "::", "::1") else host  # noqa: S104 - only compared
    base_url = f"http://{hostname}:{port}"
    examples = _format_examples(base_url)

    def announce() -> None:
        click.echo(f"Gramwatt {__version__} is running at {base_url}/ (press Ctrl+C to stop it).")
        click.echo(examples)
        sys.stdout.flush()

    run_server(host, port, announce)


def _format_examples(base_url: str) -> str:
    """Return the URL of a first example with its result, and the same on the command line."""
    calculator, query = next((c, q) for c in registry.load().values() if (q := find_example_query(c)) is not None)
    response = compute_response(calculator, dict(parse_qsl(query)), text=True)
    name = calculator.headline
    value = format_quantity(response["results"][name], response["units"][name])
    inputs = " ".join(shlex.quote(f"{input_name}={text}") for input_name, text in parse_qsl(query))
    return (
        f"One value as text:   {base_url}/v1/{calculator.name}/{name}?{query}  ->  {value}\n"
        f"The same in a shell: {find_program()} calc {calculator.name} {inputs}"
    )


def find_program() -> str:
    """Return how a shell calls the program: by name if it is on the PATH, else by a path from the current folder."""
    if shutil.which("gramwatt") is not None:
        return "gramwatt"
    beside = Path(sys.executable).with_name("gramwatt")
    if not beside.exists():
        return f"{shlex.quote(sys.executable)} -m gramwatt"
    return shlex.quote(os.path.relpath(beside) if beside.is_relative_to(Path.cwd()) else str(beside))
