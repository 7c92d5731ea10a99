"""``gramwatt contract``: the OpenAPI contract of the service."""

from __future__ import annotations

from pathlib import Path

import click


@click.command()
@click.option(
    "--write",
    "folder",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="FOLDER",
    help="Write gramwatt.openapi.json into FOLDER.",
)
def contract(folder: Path | None) -> None:
    """Print the OpenAPI contract as YAML, or write it as JSON."""
    from gramwatt.web.openapi.document import build_document
    from gramwatt.web.openapi.files import JSON_FILE, to_pretty_json, to_yaml

    made = build_document()
    if folder is None:
        click.echo(to_yaml(made).decode(), nl=False)
        return
    folder.mkdir(parents=True, exist_ok=True)
    (folder / JSON_FILE).write_bytes(to_pretty_json(made))
    click.echo(f"wrote {JSON_FILE} into {folder}")
