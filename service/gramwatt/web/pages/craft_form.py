"""Fill a form from a craft, the JSON object that a browser keeps.

A browser sends ``craft`` with the names of the chosen rows (``pack``), and ``base``, the query of the page, whose
fields give way to the craft. Fields of the form itself win over both.
"""

from __future__ import annotations

import functools
import json
from collections.abc import Mapping
from typing import Any, Final
from urllib.parse import parse_qsl

from gramwatt.engine.strict_json import InvalidJson, parse_strict_json
from gramwatt.model import Calculator, Table
from gramwatt.model.messages import InputError
from gramwatt.web.pages.description import describe_calculator
from gramwatt.web.pages.form_reader import MAX_FIELDS, texts_of_inputs

CRAFT: Final = "craft"
BASE: Final = "base"


@functools.cache
def describe_fields(calculator: Calculator[Any, Any]) -> str:
    """Return as JSON the kinds and units of a form's fields, for scripts that put what is typed into the craft."""
    return json.dumps({each["name"]: _describe_field(each) for each in describe_calculator(calculator)["inputs"]})


def _describe_field(description: Mapping[str, Any]) -> dict[str, Any]:
    field: dict[str, Any] = {"kind": description["kind"]}
    if "unit" in description:
        field["unit"] = description["unit"]
    if description["kind"] == "table":
        field["columns"] = {each["name"]: _describe_field(each) for each in description["columns"]}
    return field


def get_choosers(calculator: Calculator[Any, Any]) -> dict[str, Any]:
    """Return each chooser, a member of a request that names a row: its table, and the inputs that columns stand for."""
    return {}


@functools.cache
def describe_choosers(calculator: Calculator[Any, Any]) -> str:
    """Return the choosers as JSON, for scripts."""
    return json.dumps(get_choosers(calculator))


def fill_from_craft(
    calculator: Calculator[Any, Any], sent: Mapping[str, str]
) -> tuple[Mapping[str, str], list[InputError]]:
    """Return the fields of a request, filled from the craft that it holds, and what is wrong with the craft.

    A craft that gives none of the inputs that a calculator needs fills nothing, so that the example stays.
    """
    if CRAFT not in sent:
        return sent, []
    choosers = get_choosers(calculator)
    own = {name: text for name, text in sent.items() if name not in (CRAFT, BASE, *choosers)}
    base = dict(parse_qsl(sent.get(BASE, ""), max_num_fields=MAX_FIELDS)) if sent.get(BASE) else {}
    try:
        craft = parse_strict_json(sent[CRAFT].encode())
    except InvalidJson as error:
        return {**base, **own}, [InputError("/craft", f"this is no craft: {error}", None, "a JSON object")]
    if not isinstance(craft, dict):
        return {**base, **own}, [InputError("/craft", "this is no craft", None, "a JSON object")]
    inputs = {name: value for name, value in craft.items() if name in calculator.input_fields}
    if not _is_useful(calculator, inputs):
        return {**base, **own}, []
    decimal = own.get("decimal") or base.get("decimal") or "."
    texts = texts_of_inputs(calculator, inputs, decimal)
    return {**_without(base, inputs), **texts, **own}, []


def _without(fields: Mapping[str, str], inputs: Mapping[str, Any]) -> dict[str, str]:
    """Return the fields that belong to none of these inputs."""
    return {name: text for name, text in fields.items() if name.partition(".")[0] not in inputs}


def _is_useful(calculator: Calculator[Any, Any], inputs: Mapping[str, Any]) -> bool:
    """Return whether inputs hold any that the calculator needs."""
    needed = {name for group in calculator.any_of for name in group}
    needed |= {name for name, kind in calculator.input_fields.items() if kind.is_required or isinstance(kind, Table)}
    return any(name in needed for name in inputs)
