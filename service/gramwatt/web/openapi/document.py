"""Build the OpenAPI 3.1 contract from the registry with apispec. No part of it is written for one calculator."""

from __future__ import annotations

from typing import Final

import yaml
from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin

from gramwatt.engine import registry
from gramwatt.engine.schemas import ColumnField
from gramwatt.version import __version__
from gramwatt.web.openapi import json_schema
from gramwatt.web.openapi.calculators import add_calculator
from gramwatt.web.openapi.charts import add_chart_components
from gramwatt.web.openapi.components import JsonObject, add_components
from gramwatt.web.openapi.craft import add_craft, add_craft_parameter
from gramwatt.web.openapi.parameters import add_shared_options, make_parameter
from gramwatt.web.openapi.site import add_site
from gramwatt.web.openapi.tables import add_table_components

DESCRIPTION: Final = """\
Gramwatt has calculators for people who build, weigh, fly and report on small electric multirotors: the energy of a
pack, the current at a given power, the flight time, the throttle cap that tames a motor, the margin below a mass limit.

**Units.** Every quantity has one unit in this contract, its `x-unit`. A number is in that unit; a text may have another
one: `"1.3 Ah"`, `"127 mm"`. **Uncertainty.** A text may have a standard uncertainty: `"212 ± 1 g"`. The response then
has the uncertainty of each result and the share of each input in it. **Errors.** Every error is an
`application/problem+json` (RFC 9457) that lists every invalid input, what was given and what is accepted.

**Craft documents.** One JSON object of inputs (`Craft`) serves all calculators. Send it as `craft` in a body or query,
beside own inputs, which take precedence. `pack`, `propeller` or `flight` then chooses a row of its tables by name.
Inputs that it gives may be left out. The response says in `from_craft` which inputs came from it.

**Tables.** Every calculator also computes many rows at once (`batch`), and varies one or two inputs (`sweep`), as JSON,
CSV or Arrow.

**Charts.** The results of every calculator and every sweep are available as a chart (`chart`), in SVG or PNG, with its
content described in words.

**Recordings.** Send the recording of a flight as it is (`log`), in CSV, NDJSON, JSON or Arrow. It becomes results,
captions for a video, or the flights that other calculators need.

**Spreadsheets.** Each result also has its own path, which returns one bare value as plain text. A cell shows nothing of
a failed request; with `errors=text`, every error has status 200 and a text that begins with `#ERR`. This option is not
a parameter below, because the status then no longer separates valid requests from invalid ones.

The results are calculations, not measurements or promises: manufacturers' data and local rules come first.
"""
LICENSE: Final = {"name": "MIT", "url": "https://opensource.org/license/mit"}
SERVER: Final = {
    "url": "/",
    "description": "Production: the service that this contract was fetched from.",  # a linter asks for the environment
    "x-internal": False,  # public
}


def build_document() -> JsonObject:
    """Return the contract as one JSON object."""
    plugin = MarshmallowPlugin()
    spec = APISpec(
        title="Gramwatt",
        version=__version__,
        openapi_version="3.1.1",
        plugins=[plugin],
        info={
            "summary": "Calculators for light electric multirotors.",
            "description": DESCRIPTION,
            "license": LICENSE,
            "contact": {"name": "The operator of the service that this contract was fetched from"},
        },
        servers=[SERVER],
        security=[],  # no API key is needed
        tags=_tags(),
    )
    if plugin.converter is None:
        raise RuntimeError("apispec has no converter")
    plugin.converter.add_attribute_function(_make_field_schema)  # type: ignore[no-untyped-call]
    add_components(spec)
    add_shared_options(spec)
    add_table_components(spec, make_parameter)
    add_chart_components(spec, make_parameter)
    add_craft_parameter(spec)
    add_site(spec)
    for calculator in registry.load().values():
        add_calculator(spec, calculator)
    add_craft(spec)
    return spec.to_dict()


def to_yaml(value: JsonObject) -> bytes:
    """Return the contract as YAML, in its own order, without anchors."""
    dumper = yaml.SafeDumper
    dumper.ignore_aliases = lambda *_: True  # type: ignore[method-assign]
    return str(yaml.dump(value, Dumper=dumper, sort_keys=False, allow_unicode=True, width=120)).encode()


def _make_field_schema(_converter: object, field: object, ret: JsonObject) -> JsonObject:
    """Return the schema of one value of a column field; apispec calls this for each field."""
    return json_schema.make_input_schema(field.kind) if isinstance(field, ColumnField) else {}


def _tags() -> list[JsonObject]:
    tags = [{"name": c.name, "description": f"{c.title} {c.documentation}"} for c in registry.load().values()]
    tags.append({"name": "service", "description": "Index, units, contract, pages, health and metrics."})
    return sorted(tags, key=lambda tag: tag["name"])
