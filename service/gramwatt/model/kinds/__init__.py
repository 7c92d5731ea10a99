"""The kinds of field a calculator is declared in: what an input or a result is, in which unit, within which bounds.

A field is ``Annotated[Array, Quantity(...)]`` on a frozen dataclass. Each kind knows how to describe, read, check and
show its values: a new kind is one class with the methods of `BaseKind`, and a name in the union here.
"""

from __future__ import annotations

from typing import TypeAlias

from gramwatt.model.errors import DeclarationError
from gramwatt.model.kinds._base import BaseKind, Term, collect_synonyms, get_fields, get_label, repeat
from gramwatt.model.kinds.nested import (
    ChosenBy,
    NumberList,
    Recording,
    RecordingArray,
    RowCount,
    Table,
    TimeSeries,
    UnreadableCells,
)
from gramwatt.model.kinds.quantity import Bounds, Display, Quantity, QuantityDifference
from gramwatt.model.kinds.row_name import RowName, number_names
from gramwatt.model.kinds.scalars import Choice, Count, Flag, Text
from gramwatt.model.kinds.standard_uncertainty import Decided, Deviate, StandardUncertainty

Kind: TypeAlias = (
    Quantity
    | Count
    | Choice
    | Flag
    | Text
    | RowName
    | NumberList
    | Table
    | TimeSeries
    | StandardUncertainty
    | Deviate
    | Decided
)

__all__ = [
    "BaseKind",
    "Bounds",
    "Choice",
    "ChosenBy",
    "Count",
    "Decided",
    "DeclarationError",
    "Deviate",
    "Display",
    "Flag",
    "Kind",
    "NumberList",
    "Quantity",
    "QuantityDifference",
    "Recording",
    "RecordingArray",
    "RowCount",
    "RowName",
    "StandardUncertainty",
    "Table",
    "Term",
    "Text",
    "TimeSeries",
    "UnreadableCells",
    "collect_synonyms",
    "get_fields",
    "get_label",
    "number_names",
    "repeat",
]
