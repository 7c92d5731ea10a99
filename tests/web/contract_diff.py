"""What of a published contract a newer one breaks, named one by one.

A field once published in /v1 keeps its name, unit and meaning. Everything a client could send must still be computed,
and everything it could read must still be there, under the names that generated code has for it: operations, schemas,
codes of cautions and problems. New paths, optional inputs, results, codes and wider ranges break nobody.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, TypeAlias

Json: TypeAlias = dict[str, Any]
METHODS = ("get", "put", "post", "delete", "patch")


def breaking_changes(published: Json, today: Json) -> list[str]:
    """Every change that can break a client of ``published``, as one sentence each; none, if all is well."""
    return list(_Comparison(Side(published), Side(today)).compare())


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

    def parameters(self, operation: Json, item: Json | None = None) -> dict[tuple[str, str], Json]:
        """Return the parameters of an operation, and those of its path if that is given, by place and name."""
        declared = [*operation.get("parameters", ()), *(item or {}).get("parameters", ())]
        found = [self.resolved(parameter) for parameter in declared]
        return {(parameter["in"], parameter["name"]): parameter for parameter in found}

    def content(self, message: Json) -> Json:
        """Return a request body or a response by media type."""
        found: Json = self.resolved(message).get("content", {})
        return found


class _Comparison:
    """Compares two contracts. What several operations refer to is compared once, where it is first met."""

    def __init__(self, old: Side, new: Side) -> None:
        self._old, self._new = old, new
        self._compared: set[tuple[object, ...]] = set()

    def compare(self) -> Iterator[str]:
        old, new = self._old.contract, self._new.contract
        for name in old["components"]["schemas"].keys() - new["components"]["schemas"].keys():
            yield f"{name}: removed schema"
        for path, item in old["paths"].items():
            if path not in new["paths"]:
                yield f"{path}: removed path"
                continue
            for method in METHODS:
                if method in item:
                    yield from self._operation(f"{method.upper()} {path}", method, item, new["paths"][path])

    def _operation(self, where: str, method: str, old_item: Json, new_item: Json) -> Iterator[str]:
        if method not in new_item:
            yield f"{where}: removed method"
            return
        old, new = old_item[method], new_item[method]
        if old["operationId"] != new["operationId"]:
            yield f"{where}: renamed operation, {old['operationId']} to {new['operationId']}"
        before, after = self._old.parameters(old, old_item), self._new.parameters(new, new_item)
        for key, parameter in before.items():
            name = f"{where}: {key[0]} {key[1]}"
            if key not in after:
                yield f"{name}: removed parameter"
            else:
                yield from self._schema(name, parameter["schema"], after[key]["schema"], inputs=True)
        for key, parameter in after.items():
            if parameter.get("required") and not before.get(key, {}).get("required"):
                yield f"{where}: {key[0]} {key[1]}: required now"
        messages = [("body", old.get("requestBody", {}), new.get("requestBody", {}))]
        for status, response in old["responses"].items():
            if status not in new["responses"]:
                yield f"{where}: removed response {status}"
            messages.append((f"answer {status}", response, new["responses"].get(status, {})))
        for name, was, now in messages:
            content = self._new.content(now)
            for media, body in self._old.content(was).items():
                if media not in content:
                    yield f"{where}: {name}: removed format {media}"
                else:
                    schemas = body.get("schema", {}), content[media].get("schema", {})
                    yield from self._schema(f"{where}: {name}", *schemas, inputs=name == "body")

    def _schema(self, where: str, old: Json, new: Json, *, inputs: bool) -> Iterator[str]:
        """Compare two schemas; ``inputs`` says whether of an input, which may only widen, or of a result."""
        if "$ref" in old or "$ref" in new:
            key = (repr(old), repr(new), inputs)
            if key in self._compared:
                return
            self._compared.add(key)
            if "$ref" in old and old["$ref"] != new.get("$ref"):
                yield f"{where}: renamed schema, {old['$ref']} to {new.get('$ref')}"
        old, new = self._old.resolved(old), self._new.resolved(new)
        yield from _of_value(where, old, new, inputs=inputs)
        yield from self._members(where, old, new, inputs=inputs)
        for keyword in ("items", "additionalProperties", "propertyNames"):
            if isinstance(old.get(keyword), dict) and isinstance(new.get(keyword), dict):
                inner_name = f"{where}[]" if keyword == "items" else f"{where}.*"
                yield from self._schema(inner_name, old[keyword], new[keyword], inputs=inputs)
        for keyword in ("anyOf", "allOf"):
            for branch in (each for each in old.get(keyword, ()) if self._kind(each)):
                same = [each for each in new.get(keyword, ()) if self._kind(each) == self._kind(branch)]
                if not same:
                    yield f"{where}: removed alternative {self._kind(branch)}"
                for each in same[:1]:
                    yield from self._schema(where, branch, each, inputs=inputs)

    def _members(self, where: str, old: Json, new: Json, *, inputs: bool) -> Iterator[str]:
        for name, inner in old.get("properties", {}).items():
            if name not in new.get("properties", {}):
                yield f"{where}.{name}: removed property"
            else:
                is_echo = name == "given"  # what a client reads there is what it sent
                yield from self._schema(f"{where}.{name}", inner, new["properties"][name], inputs=inputs or is_echo)
        if not inputs:
            missing = set(old.get("required", ())) - set(new.get("required", ()))
            yield from (f"{where}.{name}: no longer always there" for name in sorted(missing))
            return
        were, are = _list_needed(old), _list_needed(new)
        for needed in were:
            if not any(each <= needed for each in are):
                more = min((sorted(each - needed) for each in are), key=len)
                yield f"{where}: required now beside {sorted(needed)}: {', '.join(more)}"

    def _kind(self, branch: Json) -> object:
        """Return what one of several schemas is recognised by: its name, or its type; None if it only requires."""
        return branch.get("$ref") or branch.get("const") or branch.get("type")


def _list_needed(schema: Json) -> list[set[str]]:
    """Return the sets of members of which an object must have one."""
    parts = [schema, *(each for each in schema.get("allOf", ()) if "$ref" not in each)]
    needed = [set(schema.get("required", ()))]
    for part in parts:
        alternatives = [set(each["required"]) for each in part.get("anyOf", ()) if "required" in each] or [set()]
        needed = [names | others for names in needed for others in alternatives]
    return needed


def _of_value(where: str, old: Json, new: Json, *, inputs: bool) -> Iterator[str]:
    for keyword in ("x-unit", "x-row-of", "const", "format") + (("default", "x-default") if inputs else ()):
        if keyword in old and old[keyword] != new.get(keyword):
            yield f"{where}: changed {keyword.removeprefix('x-')} from {old[keyword]} to {new.get(keyword)}"
    if not _types(old) <= _types(new) if inputs else not _types(new) <= _types(old):
        yield f"{where}: changed type from {' or '.join(sorted(_types(old)))} to {' or '.join(sorted(_types(new)))}"
    for keyword, what in (("x-units", "unit"), ("x-codes", "code")):
        removed = [each for each in old.get(keyword, ()) if each not in new.get(keyword, ())]
        yield from (f"{where}: removed {what} {each}" for each in removed)
    if inputs:
        yield from _of_range(where, old, new)


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
