"""Put right what schemas cannot say in the valid requests that schemathesis makes, just before they are sent."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import schemathesis
from schemathesis import GenerationMode

from gramwatt.engine import craft_fields, registry
from gramwatt.model import AnyCalculator
from web import contract_words


@schemathesis.hook
def filter_case(context: schemathesis.HookContext, case: Any) -> bool:
    """Leave out craft documents in bodies: there are thousands of forms, and each input is in the other bodies too."""
    given = case.body.get("given") if isinstance(case.body, dict) else None
    members = {craft_fields.MEMBER, *craft_fields.get_choices()}
    return not any(isinstance(each, dict) and not members.isdisjoint(each) for each in (case.body, given))


@schemathesis.hook
def before_call(context: schemathesis.HookContext, case: Any, kwargs: Any) -> None:
    """Repair a valid request. An invalid one stays as it is, but its errors must have a status."""
    query = case.query if isinstance(case.query, dict) else {}
    # With errors=text, an invalid request has the status of a valid one.
    if query.get("errors") == "text":
        query["errors"] = "status"
    elif isinstance(query.get("errors"), list):
        query["errors"] = ["status" if each == "text" else each for each in query["errors"]]
    found = re.fullmatch(r"/v1/([a-z-]+)(?:/([a-z{}]+))?", case.operation.path)
    is_valid = case.meta is None or case.meta.generation.mode == GenerationMode.POSITIVE
    if found is None or found[1] not in registry.list_names() or not is_valid:
        return
    calculator, below = registry.get(found[1]), found[2] or ""
    declared = [parameter.name for parameter in case.operation.query]
    result = str((case.path_parameters or {}).get("result", ""))
    contract_words.repair_query(calculator, query, declared, result=result, below=below)
    if below == "description":
        return
    if case.method.upper() == "GET":
        contract_words.add_needed_to_query(calculator, query)
    elif case.media_type != "application/json":
        _replace_text(calculator, below, case)
    elif isinstance(case.body, dict):
        contract_words.repair_body(calculator, case.body, is_chart=below == "chart")
        if "vary" in case.body:
            query.pop("chart", None)  # which is of a chart of one response


def _replace_text(calculator: AnyCalculator, below: str, case: Any) -> None:
    """Replace a table or a recording as text, of which no schema can say anything, by that of the first example."""
    example: Mapping[str, Any] = calculator.examples[0].given
    if below == "batch":
        case.media_type, case.body = "application/json", [dict(example)]
    else:
        log = example[str(calculator.recording)]
        lines = [",".join(log), *(",".join(map(str, cells)) for cells in zip(*log.values(), strict=True))]
        case.media_type, case.body = "text/csv", "\n".join(lines)


@schemathesis.deserializer("text/csv", "text/tab-separated-values", "application/x-ndjson")
def read_text(context: schemathesis.DeserializationContext, response: schemathesis.Response) -> str:
    """Return a table as the text that its schema says it is."""
    return response.content.decode()


@schemathesis.deserializer("application/vnd.apache.arrow.stream", "image/png")
def read_bytes(context: schemathesis.DeserializationContext, response: schemathesis.Response) -> str:
    """Return a file as a text with a character for each byte."""
    return response.content.decode("latin-1")
