"""What of a published contract a newer one breaks, named one by one.

A field once published in /v1 keeps its name, unit and meaning. Everything a client could send must still be computed,
and everything it could read must still be there; new paths, optional inputs, results and wider ranges break nobody.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, TypeAlias

Json: TypeAlias = dict[str, Any]
METHODS = ("get", "put", "post", "delete", "patch")


def breaking_changes(published: Json, today: Json) -> list[str]:
    """Every change that can break a client of ``published``, as one sentence each; none, if all is well."""
    return list(_of_paths(published, today))


def _of_paths(old: Json, new: Json) -> Iterator[str]:
    for path, item in old["paths"].items():
        if path not in new["paths"]:
            yield f"{path}: removed path"
            continue
        for method in METHODS & item.keys():
            where = f"{method.upper()} {path}"
            if method not in new["paths"][path]:
                yield f"{where}: removed method"
            else:
                yield from _of_operation(where, Side(old), item[method], Side(new), new["paths"][path][method])


class Side:
    """One of the two contracts, to look up what it refers to."""

    def __init__(self, contract: Json) -> None:
        self.contract = contract

    def resolved(self, value: Json) -> Json:
        """Return the value itself, its reference followed; what is beside the reference counts."""
        while "$ref" in value:
            found: Any = self.contract
            for step in value["$ref"].removeprefix("#/").split("/"):
                found = found[step.replace("~1", "/").replace("~0", "~")]
            value = {**found, **{name: each for name, each in value.items() if name != "$ref"}}
        return value

    def parameters(self, operation: Json) -> dict[tuple[str, str], Json]:
        """Return an operation's parameters by place and name."""
        found = [self.resolved(parameter) for parameter in operation.get("parameters", ())]
        return {(parameter["in"], parameter["name"]): parameter for parameter in found}

    def content(self, message: Json) -> Json:
        """Return a request body or a response by media type."""
        found: Json = self.resolved(message).get("content", {})
        return found


def _of_operation(where: str, old_side: Side, old: Json, new_side: Side, new: Json) -> Iterator[str]:
    before, after = old_side.parameters(old), new_side.parameters(new)
    for key, parameter in before.items():
        name = f"{where}: {key[0]} {key[1]}"
        if key not in after:
            yield f"{name}: removed parameter"
        else:
            yield from _of_schema(name, old_side, parameter["schema"], new_side, after[key]["schema"], inputs=True)
    for key, parameter in after.items():
        if parameter.get("required") and not before.get(key, {}).get("required"):
            yield f"{where}: {key[0]} {key[1]}: required now"
    messages = [("body", old.get("requestBody", {}), new.get("requestBody", {}))]
    for status, response in old["responses"].items():
        if status.startswith("2"):
            messages.append((f"answer {status}", response, new["responses"].get(status, {})))
    for name, was, now in messages:
        for media, body in old_side.content(was).items():
            if media not in new_side.content(now):
                yield f"{where}: {name}: removed format {media}"
            else:
                schemas = body.get("schema", {}), new_side.content(now)[media].get("schema", {})
                yield from _of_schema(
                    f"{where}: {name}", old_side, schemas[0], new_side, schemas[1], inputs=name == "body"
                )


def _of_schema(where: str, old_side: Side, old: Json, new_side: Side, new: Json, *, inputs: bool) -> Iterator[str]:
    """Compare two schemas; ``asked`` says whether of an input, which may only widen, or of a result."""
    old, new = old_side.resolved(old), new_side.resolved(new)
    for keyword in ("x-unit", "const") + (("default",) if inputs else ()):
        if keyword in old and old[keyword] != new.get(keyword):
            yield f"{where}: changed {keyword.removeprefix('x-')} from {old[keyword]} to {new.get(keyword)}"
    if not _types(old) <= _types(new) if inputs else _types(old) != _types(new):
        yield f"{where}: changed type from {' or '.join(sorted(_types(old)))} to {' or '.join(sorted(_types(new)))}"
    if inputs:
        yield from _of_range(where, old, new)
    for name, inner in old.get("properties", {}).items():
        if name not in new.get("properties", {}):
            yield f"{where}.{name}: removed property"
        else:
            yield from _of_schema(f"{where}.{name}", old_side, inner, new_side, new["properties"][name], inputs=inputs)
    changed = set(new.get("required", ())) - set(old.get("required", ()))
    if not inputs:
        changed = set(old.get("required", ())) - set(new.get("required", ()))
    for name in sorted(changed):
        yield f"{where}.{name}: " + ("required now" if inputs else "no longer always there")
    for keyword in ("items", "additionalProperties"):
        if isinstance(old.get(keyword), dict) and isinstance(new.get(keyword), dict):
            inner_name = f"{where}[]" if keyword == "items" else f"{where}.*"
            yield from _of_schema(inner_name, old_side, old[keyword], new_side, new[keyword], inputs=inputs)
    for branch in old.get("anyOf", ()):
        same = [each for each in new.get("anyOf", ()) if _types(each) == _types(branch) and "type" in branch]
        for each in same[:1]:
            yield from _of_schema(where, old_side, branch, new_side, each, inputs=inputs)


def _types(schema: Json) -> set[str]:
    output = schema.get("type", [each["type"] for each in schema.get("anyOf", ()) if "type" in each])
    types = {output} if isinstance(output, str) else set(output)
    return types | {"integer"} if "number" in types else types


def _of_range(where: str, old: Json, new: Json) -> Iterator[str]:
    if "enum" in new and "enum" not in old:
        yield f"{where}: narrowed range, only {new['enum']}"
    yield from (f"{where}: removed value {word}" for word in old.get("enum", ()) if word not in new.get("enum", [word]))
    for sign, closed, opened in ((1, "minimum", "exclusiveMinimum"), (-1, "maximum", "exclusiveMaximum")):
        before, after = _bound(old, sign, closed, opened), _bound(new, sign, closed, opened)
        if after > before:
            yield f"{where}: narrowed range, {closed} from {before[0] * sign} to {after[0] * sign}"
    for sign, keyword in ((1, "minLength"), (1, "minItems"), (-1, "maxLength"), (-1, "maxItems")):
        if keyword in new and (new[keyword] - old.get(keyword, sign * -float("inf"))) * sign > 0:
            yield f"{where}: narrowed range, {keyword} from {old.get(keyword, 'none')} to {new[keyword]}"


def _bound(schema: Json, sign: int, closed: str, opened: str) -> tuple[float, bool]:
    """Return a bound such that the greater one is the narrower: its value times ``sign``, and whether it is open."""
    found = [(schema[name] * sign, name == opened) for name in (closed, opened) if name in schema]
    return max(found, default=(-float("inf"), False))
