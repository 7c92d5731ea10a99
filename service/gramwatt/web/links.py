"""Links from responses to what describes them, and what responses say of deprecated parts of the interface.

`Link` leads to the description of the calculator and to the contract (RFC 8288, RFC 8631), `Deprecation` (RFC 9745) and
`Sunset` (RFC 8594) date what is deprecated.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime, time
from email.utils import format_datetime
from typing import Final

from flask import Response, g, request

from gramwatt.engine import registry
from gramwatt.engine.deprecations import find_deprecations

CONTRACT_LINKS: Final = '</openapi.json>; rel="service-desc"; type="application/json", </docs>; rel="service-doc"'
POLICY_LINK: Final = '</docs#about-deprecation>; rel="deprecation"; type="text/html"'


def note_inputs(names: Iterable[str]) -> None:
    """Note the inputs that the current request gives, for the headers of its response."""
    g.given_inputs = tuple(names)


def add_links(response: Response) -> Response:
    """Add the links of a response with results; a bare value, of which sheets request many, has only the first."""
    arguments = request.view_args or {}
    calculator = registry.load().get(arguments.get("calculator_name", ""))
    if calculator is None or response.status_code != 200 or not request.path.startswith("/v1/"):
        return response
    if request.method == "OPTIONS":
        return response
    links = [f'</v1/{calculator.name}/description>; rel="describedby"; type="application/json"']
    result = arguments.get("result")
    if result is None:
        links.append(CONTRACT_LINKS)
    inputs = {*request.args, *g.get("given_inputs", ())}
    found = [each for _, each in find_deprecations(calculator, inputs, () if result is None else (result,))]
    if found:
        links.append(POLICY_LINK)
        since = datetime.combine(min(each.since for each in found), time(), UTC)
        response.headers["Deprecation"] = f"@{int(since.timestamp())}"
        ends = [each.until for each in found if each.until is not None]
        if ends:
            response.headers["Sunset"] = format_datetime(datetime.combine(min(ends), time(), UTC), usegmt=True)
    response.headers["Link"] = ", ".join(links)
    return response
