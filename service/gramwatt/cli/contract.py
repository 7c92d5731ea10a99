"""``gramwatt contract``: the OpenAPI contract of the service."""

from __future__ import annotations

import json
from pathlib import Path

import click


@click.command()
@click.option(
    "--write",
    "folder",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="FOLDER",
    help="Write gramwatt.openapi.yaml and gramwatt.openapi.json into FOLDER.",
)
def contract(folder: Path | None) -> None:
    """Print the OpenAPI contract as YAML, or write it to files."""
    from gramwatt.web.openapi.document import build_document, to_yaml

    made = build_document()
    if folder is None:
        click.echo(to_yaml(made).decode(), nl=False)
        return
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "gramwatt.openapi.yaml").write_bytes(to_yaml(made))
    text = json.dumps(made, indent=1, ensure_ascii=False) + "\n"
    (folder / "gramwatt.openapi.json").write_text(text, encoding="utf-8")
    click.echo(f"wrote gramwatt.openapi.yaml and gramwatt.openapi.json into {folder}")
