"""What stands around the calculators: the first page, the index, the contract and its viewer, problems, health."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from typing import Any

from flask import Blueprint, Response, current_app

from gramwatt.engine import registry
from gramwatt.engine.serializers import serialize_json
from gramwatt.model import Calculator, units
from gramwatt.version import __version__
from gramwatt.web.headers import make_cacheable, make_not_modified, make_request_etag
from gramwatt.web.links import CONTRACT_LINKS
from gramwatt.web.openapi import files
from gramwatt.web.pages.routes import PAGE_MEDIA_TYPES, calculators_page, home_page, render_page, show_problem
from gramwatt.web.pages.web_component import LATEST, integrity
from gramwatt.web.problems import PROBLEM_TYPES, Problem, get_public_url, make_type_uri
from gramwatt.web.request_parsing import negotiate_format

blueprint = Blueprint("site", __name__)
blueprint.register_error_handler(Problem, show_problem)


@blueprint.get("/")
def home() -> Response:
    """Return the home page to browsers, and the index to programs."""
    return home_page() if negotiate_format(PAGE_MEDIA_TYPES) == "html" else _respond_with_json(_make_index)


@blueprint.get("/calculators")
def calculators() -> Response:
    """Return all calculators as a page to browsers, and the index to programs."""
    return calculators_page() if negotiate_format(PAGE_MEDIA_TYPES) == "html" else _respond_with_json(_make_index)


@blueprint.get("/v1")
def index() -> Response:
    """Return the calculators: title, summary, headline result, links."""
    negotiate_format({"json": "application/json"})
    response = _respond_with_json(_make_index)
    response.headers["Link"] = CONTRACT_LINKS
    return response


@blueprint.get("/v1/units")
def units_table() -> Response:
    """Return every unit that a quantity may have, by dimension."""
    negotiate_format({"json": "application/json"})
    return _respond_with_json(_make_unit_table)


def _respond_with_json(make: Callable[[], dict[str, Any]]) -> Response:
    """Return a document that only a new version of the service changes."""
    tag = make_request_etag("json")
    return make_not_modified(tag) or make_cacheable(
        Response(serialize_json(make()), content_type="application/json"), tag
    )


@blueprint.post("/v1/units")
def reject_units_post() -> Response:
    """Reject a POST, which would otherwise be a request to a calculator named units."""
    raise Problem("method-not-allowed", "Use GET for the table of units.", headers={"Allow": "GET, HEAD, OPTIONS"})


def _make_unit_table() -> dict[str, Any]:
    """Return the units of each dimension, the usual one first: a value in SI is ``value * scale + offset``."""
    return {
        "dimensions": [
            {
                "dimension": dimension,
                "units": [
                    {"unit": unit.spelling, "scale": unit.scale, "offset": unit.offset} for unit in spellings.values()
                ],
            }
            for dimension, spellings in units.UNITS.items()
        ]
    }


def _make_index() -> dict[str, Any]:
    return {
        "service": "gramwatt",
        "version": __version__,
        "contract": "/openapi.json",
        "docs": "/docs",
        "reference": "/reference",
        "units": "/v1/units",
        "web_component": {"script": f"/gramwatt-{LATEST}.js", "integrity": integrity(LATEST)},
        "calculators": [_make_index_entry(calculator) for calculator in registry.load().values()],
    }


def _make_index_entry(calculator: Calculator[Any, Any]) -> dict[str, Any]:
    path = f"/v1/{calculator.name}"
    query = current_app.config["FIRST_QUERIES"].get(calculator.name)
    return {
        "name": calculator.name,
        "title": calculator.title,
        "summary": calculator.summary,
        "headline": calculator.headline,
        "results": list(calculator.result_fields),
        "links": {
            "results": path,
            "description": f"{path}/description",
            "page": f"/calculators/{calculator.name}",
            "reference": f"/reference/{calculator.name}",
            **({"example": f"{path}?{query}", "value": f"{path}/{calculator.headline}?{query}"} if query else {}),
            **({"chart": f"{path}/chart?{query}"} if query else {}),
            **({"log": f"{path}/log"} if calculator.recording else {}),
        },
    }


@blueprint.get("/openapi.json")
def contract_json() -> Response:
    """Return the contract as JSON."""
    return _make_contract_response("application/json", files.read_json())


@blueprint.get("/openapi.yaml")
def contract_yaml() -> Response:
    """Return the contract as YAML."""
    return _make_contract_response("application/yaml", files.read_yaml())


def _make_contract_response(media: str, body: bytes) -> Response:
    tag = hashlib.blake2b(body, digest_size=12).hexdigest()  # of the file: it may change while the code does not
    return make_not_modified(tag) or make_cacheable(Response(body, content_type=media), tag)


@blueprint.get("/problems/<kind>")
def problem(kind: str) -> Response:
    """Describe a type of problem: the ``type`` member of every problem is a link to it."""
    if kind not in PROBLEM_TYPES:
        raise Problem("not-found", f"No type of problem is named {kind[:80]!r}.")
    problem_type = PROBLEM_TYPES[kind]
    if negotiate_format(PAGE_MEDIA_TYPES) == "html":
        return render_page("problem.html", kind=kind, problem_type=problem_type)
    return Response(
        serialize_json(
            {
                "type": make_type_uri(kind, get_public_url()),
                "title": problem_type.title,
                "status": problem_type.status,
                "advice": problem_type.advice,
            }
        ),
        content_type="application/json",
    )


@blueprint.get("/health/live")
def live() -> Response:
    """Report that the process runs."""
    return Response("live\n", content_type="text/plain; charset=utf-8", headers={"Cache-Control": "no-store"})


@blueprint.get("/health/ready")
def ready() -> Response:
    """Report that the calculators are loaded, so that requests can be sent."""
    return Response("ready\n", content_type="text/plain; charset=utf-8", headers={"Cache-Control": "no-store"})
