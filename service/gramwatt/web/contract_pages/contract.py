"""The contract as the pages read it: operations by tag and by id, and references resolved."""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

from gramwatt.web.openapi import files

JsonObject: TypeAlias = Mapping[str, Any]
_METHODS: Final = ("get", "put", "post", "delete", "options", "head", "patch", "trace")


@dataclass(frozen=True, slots=True)
class Operation:
    """An operation: its method in lower case, its path, and what the contract has of it."""

    method: str
    path: str
    content: JsonObject

    @property
    def id(self) -> str:
        """Its operationId."""
        return str(self.content["operationId"])

    @property
    def tag(self) -> str:
        """Its first tag."""
        return str(self.content["tags"][0])


@dataclass(frozen=True, slots=True, eq=False)
class Contract:
    """An OpenAPI document whose components are referred to."""

    document: JsonObject
    operations: Mapping[str, Operation]
    """By operationId, in order."""

    @classmethod
    def read(cls, document: JsonObject) -> Contract:
        """Read a document."""
        found = _list_operations(document)
        return cls(document, {operation.id: operation for operation in found})

    @property
    def schemas(self) -> Mapping[str, JsonObject]:
        """The schemas by name."""
        schemas: Mapping[str, JsonObject] = self.document["components"]["schemas"]
        return schemas

    def list_by_tag(self) -> list[tuple[JsonObject, list[Operation]]]:
        """Return the tags in order, each with its operations."""
        return [
            (tag, [each for each in self.operations.values() if each.tag == tag["name"]])
            for tag in self.document["tags"]
        ]

    def resolve(self, item: JsonObject) -> JsonObject:
        """Return an item, or what it refers to; members beside the reference take precedence."""
        reference = item.get("$ref")
        if reference is None:
            return item
        found: Any = self.document
        for token in str(reference).removeprefix("#/").split("/"):
            found = found[token.replace("~1", "/").replace("~0", "~")]
        beside = {name: value for name, value in item.items() if name != "$ref"}
        return self.resolve({**found, **beside})

    def list_parameters(self, operation: Operation) -> list[JsonObject]:
        """Return the parameters of an operation, then those of its path."""
        of_path: Sequence[JsonObject] = self.document["paths"][operation.path].get("parameters", ())
        return [self.resolve(each) for each in (*operation.content.get("parameters", ()), *of_path)]


def _list_operations(document: JsonObject) -> Iterator[Operation]:
    for path, item in document["paths"].items():
        for method in _METHODS:
            if method in item:
                yield Operation(method, path, item[method])


@functools.cache
def read_contract() -> Contract:
    """Return the contract that this service sends."""
    return Contract.read(files.read_document())


def get_schema_name(reference: str) -> str:
    """Return the name of the schema that a reference is to."""
    return reference.rpartition("/")[2]
