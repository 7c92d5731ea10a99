"""The routes of the contract's pages: an index, and a page for each operation and each schema."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from flask import Blueprint, Response

from gramwatt.engine import registry
from gramwatt.model.messages import suggest
from gramwatt.web.contract_pages.contract import Contract, read_contract
from gramwatt.web.contract_pages.operations import describe_operation
from gramwatt.web.contract_pages.overview import link_topics, list_topics
from gramwatt.web.contract_pages.schema_words import (
    describe_requirements,
    describe_type,
    get_default,
    get_unit,
    list_members,
)
from gramwatt.web.pages.routes import render_stable_page, show_problem
from gramwatt.web.problems import Problem, get_public_url

blueprint = Blueprint("docs", __name__)
blueprint.register_error_handler(Problem, show_problem)
blueprint.add_app_template_filter(link_topics)


@blueprint.get("/docs")
def docs_index() -> Response:
    """Return the page with all operations, and what holds for all of them."""
    return render_stable_page("docs.html", _describe_index)


def _describe_index() -> Mapping[str, Any]:
    contract = read_contract()
    info = contract.document["info"]
    return {
        "contract": contract,
        "info": info,
        "topics": list_topics(info["description"]),
        "calculators": registry.list_names(),
    }


@blueprint.get("/docs/<operation_id>")
def docs_operation(operation_id: str) -> Response:
    """Return the page of an operation."""
    contract = read_contract()
    if operation_id not in contract.operations:
        raise _not_found("operation", operation_id, contract.operations)
    return render_stable_page(
        "docs_operation.html",
        lambda: {
            "view": describe_operation(contract, operation_id),
            "base_url": get_public_url(),
            "calculators": registry.list_names(),
        },
    )


@blueprint.get("/docs/schemas/<schema_name>")
def docs_schema(schema_name: str) -> Response:
    """Return the page of a schema."""
    contract = read_contract()
    if schema_name not in contract.schemas:
        raise _not_found("schema", schema_name, contract.schemas)
    return render_stable_page("docs_schema.html", lambda: _describe_schema(contract, schema_name))


def _describe_schema(contract: Contract, name: str) -> Mapping[str, Any]:
    schema = contract.schemas[name]
    members = tuple(list_members(contract, schema))
    return {
        "name": name,
        "schema": schema,
        "type": "" if members else describe_type(contract, schema),
        "unit": get_unit(contract, schema),
        "default": get_default(contract, schema),
        "requirements": describe_requirements(contract, schema),
        "members": members,
        "source": json.dumps(schema, indent=2, ensure_ascii=False),
    }


def _not_found(what: str, name: str, known: Mapping[str, object]) -> Problem:
    return Problem("not-found", f"The contract has no {what} {name[:80]!r}{suggest(name, known) or '.'}")
