"""Build the OpenAPI 3.1 contract from the registry with apispec. No part of it is written for one calculator."""

from __future__ import annotations

import re
from typing import Any, Final

from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin

from gramwatt.engine import registry
from gramwatt.engine.schemas import ColumnField
from gramwatt.version import __version__
from gramwatt.web.openapi.calculators import CalculatorPaths, add_shared_components
from gramwatt.web.openapi.inputs import Inputs
from gramwatt.web.openapi.naming import JsonObject
from gramwatt.web.openapi.parameters import Parameters
from gramwatt.web.openapi.published import list_calculators
from gramwatt.web.openapi.shared import add_shared
from gramwatt.web.openapi.site import add_site

DESCRIPTION: Final = """\
Gramwatt has calculators for people who build, weigh, fly and report on small electric multirotors: the energy of a
pack, the current at a given power, the flight time, the throttle cap that tames a motor, the margin below a mass limit.

**Units.** Every quantity has one unit in this contract: its `x-unit`, in brackets in its description. A number is in
that unit; a text may have another one: `"1.3 Ah"`, `"127 mm"`. The bounds of an input hold for a text too, converted
to its unit. `units` converts results; their bounds are in the unit of this contract, as `x-minimum` and `x-maximum`
where another unit has others.

**Uncertainty.** A text may have a standard uncertainty: `"212 ± 1 g"`. The response then has the uncertainty of each
result and the share of each input in it. An input that is left out is assumed (`x-default`), listed as such, and may be
uncertain itself.

**Errors.** Every error is an `application/problem+json` (RFC 9457) that lists every invalid input, what was given and
what is accepted.

**Craft documents.** One JSON object of inputs (`Craft`) serves all calculators. Send it as `craft` in a body or query,
beside own inputs, which take precedence. `pack`, `propeller` or `flight` then chooses a row of its tables by name.
Inputs that it gives may be left out, so no input is required by this contract where a craft may give it. The response
says in `from_craft` which inputs came from it.

**Tables.** `batch` computes many rows at once. Each row has the inputs of one calculation; each row of the response has
its results, in the same order. The response is written while the table is read, so a table may have any length. Columns
are named like inputs; in CSV and Arrow a header may have a unit (`capacity [Ah]`), and a column `<input>_u` a standard
uncertainty. Inputs in the query hold for every row. A column that is not an input is an error, unless `keep` names it
or its name is id, name or note: it is then copied to the response. Invalid rows get an `error`; all other rows are
computed. If the table cannot be read to its end, the `error` of a last row says why.

**Sweeps.** `sweep` varies one input evenly from `from` to `to` in `count` points; the other inputs stay as given.
`from` and `to` may have a unit. For a grid, use `vary` twice, each with its own `from`, `to` and `count` in the same
order. Instead of a range, a varied input may have a list of values (`vary=cells&values=2,3,4`); `values` is then empty
for one with a range. A point that is out of bounds or lacks an input gets an `error`.

**Charts.** `chart` shows the results for an `<img>`, a spreadsheet's IMAGE() or a video: as SVG, PNG, or a description
in words (which SVG and PNG contain too). `chart` selects one of the calculator's charts. To draw a sweep instead,
send what `sweep` takes. One varied input makes lines, two make a map, and a choice among them a line for each option;
`show` then has the names of the results.

**Recordings.** `log` takes the recording of a flight as it is, as the body: CSV (separated by commas, semicolons or
tabs; lines before the header are skipped), NDJSON, or an Arrow IPC stream; the other inputs are in the query. In JSON
it is an input in the body of a request, as lists by channel. It becomes results, captions for a video, or the flights
that other calculators need. Columns are named like channels, and a header may have a unit (`time [ms]`,
`current (mA)`); `<channel>_column` names a column with another name. Times may also be clock times, or dates with
times. Columns that are not channels are ignored. Cells that cannot be read are left out, and the results count them;
they are never an error.

**Spreadsheets.** The path of one result returns one bare value as plain text. A cell shows nothing of a failed request;
with `errors=text`, every error has status 200 and a text that begins with `#ERR`.

**Deprecation.** What `/v1` has keeps its name, unit and meaning. New calculators, optional inputs, results, options,
cautions and members of responses may come at any time: ignore what you do not know. A part that is to go is deprecated
for at least 12 months, and removed in `/v2` only. Until then it works as before; `deprecated` marks it here and in
`/v1/{calculator}/description`. A response to a request that uses it has the caution `deprecated`, which says what to
use instead, the headers `Deprecation` (RFC 9745) and, once the day is decided, `Sunset` (RFC 8594), and a `Link` to
this section. Texts for people, and limits of size and time, may change without notice.

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
        security=[{}],  # an empty requirement: no key is needed
        tags=_tags(),
    )
    if plugin.converter is None:
        raise RuntimeError("apispec has no converter")
    inputs = Inputs(spec)

    def refer_to_input(_converter: object, field: object, ret: JsonObject) -> JsonObject:
        """Return the schema of one input; apispec calls this for each field of a marshmallow schema."""
        ret.clear()
        return inputs.refer(field.calculator, str(field.name)) if isinstance(field, ColumnField) else {}

    plugin.converter.add_attribute_function(refer_to_input)  # type: ignore[no-untyped-call]
    inputs.add_craft()
    add_shared(spec)
    add_shared_components(spec)
    add_site(spec)
    parameters = Parameters(spec, inputs)
    for calculator in list_calculators():
        CalculatorPaths(spec, inputs, parameters, calculator).add()
    document: JsonObject = spec.to_dict()
    document["components"]["schemas"] = _name_units(document["components"]["schemas"])
    return document


def _name_units(part: Any) -> Any:
    """Return a copy whose descriptions name the unit too, since generated code has no `x-unit`: "Energy used [Wh]."."""
    if isinstance(part, list):
        return [_name_units(each) for each in part]
    if not isinstance(part, dict):
        return part
    copy = {name: _name_units(each) for name, each in part.items()}
    items = part.get("items")
    unit = part.get("x-unit") or (items.get("x-unit") if isinstance(items, dict) else None)
    if unit and unit != "1" and "description" in part:
        copy["description"] = re.sub(r"(?=\.( [A-Z]|$))", f" [{unit}]", part["description"], count=1)
    return copy


def _tags() -> list[JsonObject]:
    tags = [{"name": c.name, "description": f"{c.title} {c.summary}"} for c in registry.load().values()]
    tags.append({"name": "service", "description": "Index, units, contract, pages, health and metrics."})
    return sorted(tags, key=lambda tag: tag["name"])
