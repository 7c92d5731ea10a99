"""What an Arrow stream or file would make, read from the metadata of its messages before anything is decoded.

A message declares in a few bytes how long its columns are and how large its compressed buffers become. The Arrow
library trusts it, so it is checked here: the metadata is a FlatBuffers table as the Arrow columnar format lays it out
(https://arrow.apache.org/docs/format/Columnar.html), and the library verified its places when it read the message.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import Any, Final

import pyarrow as pa

from gramwatt.engine.limits import (
    CELLS_PER_BYTE,
    DECOMPRESSED_BYTES_PER_BYTE,
    EXPANDED_BYTES_PER_BYTE,
    FREE_CELLS,
    FREE_DECOMPRESSED_BYTES,
    FREE_EXPANDED_BYTES,
    MAX_ARROW_FIELD_DEPTH,
    MAX_ARROW_FIELDS,
)

END_OF_STREAM: Final = b"\xff\xff\xff\xff\0\0\0\0"
_DICTIONARY, _RECORD_BATCH = 2, 3
_HEADER_TYPE, _HEADER = 1, 2
_LENGTH, _NODES, _BUFFERS, _COMPRESSION = 0, 1, 2, 3
_ID, _DATA, _IS_DELTA = 0, 1, 2
_DICTIONARIES, _BATCHES = 2, 3
"""Places of fields in the tables Message, RecordBatch, DictionaryBatch and Footer."""


class ExpansionLimitExceeded(ValueError):
    """An Arrow stream would make more than what it may."""


class FlatTable:
    """A table of a FlatBuffers buffer, whose fields are found by their place in the schema."""

    def __init__(self, raw: bytes, at: int) -> None:
        self._raw, self._at = raw, at

    @classmethod
    def root(cls, raw: bytes) -> FlatTable:
        """Return the table that the buffer holds."""
        return cls(raw, struct.unpack_from("<I", raw)[0])

    def _find(self, place: int) -> int | None:
        described = self._at - struct.unpack_from("<i", self._raw, self._at)[0]
        size = struct.unpack_from("<H", self._raw, described)[0]
        entry = 4 + 2 * place
        offset = struct.unpack_from("<H", self._raw, described + entry)[0] if entry < size else 0
        return self._at + offset if offset else None

    def number(self, place: int, form: str) -> int:
        """Return a number; 0 where it is left out."""
        at = self._find(place)
        return 0 if at is None else struct.unpack_from(form, self._raw, at)[0]

    def table(self, place: int) -> FlatTable | None:
        """Return a table within the table."""
        at = self._find(place)
        return None if at is None else FlatTable(self._raw, at + struct.unpack_from("<I", self._raw, at)[0])

    def structures(self, place: int, form: str) -> Iterator[tuple[int, ...]]:
        """Return the elements of a vector of structures."""
        at = self._find(place)
        if at is None:
            return iter(())
        at += struct.unpack_from("<I", self._raw, at)[0]
        count = struct.unpack_from("<I", self._raw, at)[0]
        return struct.iter_unpack(form, self._raw[at + 4 : at + 4 + count * struct.calcsize(form)])


class ExpansionCounter:
    """Counts the bytes that a stream expands to. At most ``bytes_per_byte`` are allowed for each byte received."""

    def __init__(self, bytes_per_byte: int = EXPANDED_BYTES_PER_BYTE) -> None:
        self.received = 0
        self._bytes_per_byte = bytes_per_byte
        self._cells, self._made = 0, 0
        self._dictionaries: dict[int, int] = {}

    def check(self, message: pa.ipc.Message) -> None:
        """Count a message. Raises ExpansionLimitExceeded, or OSError for unreadable metadata."""
        try:
            self._check(message)
        except struct.error as error:
            raise OSError(f"the metadata of a message cannot be read: {error}") from None

    def _check(self, message: pa.ipc.Message) -> None:
        metadata = message.metadata.to_pybytes()
        root = FlatTable.root(metadata)
        kind, header = root.number(_HEADER_TYPE, "<B"), root.table(_HEADER)
        batch = header.table(_DATA) if header is not None and kind == _DICTIONARY else header
        if kind not in (_DICTIONARY, _RECORD_BATCH) or header is None or batch is None:
            return
        lengths = [batch.number(_LENGTH, "<q"), *(length for length, _ in batch.structures(_NODES, "<qq"))]
        self._cells += sum(max(length, 0) for length in lengths)
        limit = FREE_CELLS + CELLS_PER_BYTE * self.received
        if self._cells > limit:
            raise ExpansionLimitExceeded(
                f"its columns hold {self._cells} cells in {self.received} bytes, and so many bytes may hold {limit}; "
                "leave out columns without values, or send the rows in several tables"
            )
        unpacked = self._unpacked(batch, message.body)
        if kind == _DICTIONARY:
            number = header.number(_ID, "<q")
            before = self._dictionaries.get(number, 0) if header.number(_IS_DELTA, "<B") else 0
            self._dictionaries[number] = unpacked + before
            self.add(before)  # which is copied each time that something is added to it

    def _unpacked(self, batch: FlatTable, body: pa.Buffer | None) -> int:
        """Return the bytes of a batch when it is decompressed."""
        size = 0 if body is None else body.size
        if body is None or batch.table(_COMPRESSION) is None:
            return size
        unpacked = 0
        for offset, length in batch.structures(_BUFFERS, "<qq"):
            if length >= 8 and 0 <= offset <= size - 8:
                stated = struct.unpack_from("<q", body, offset)[0]
                unpacked += max(stated, 0) or length
        limit = max(FREE_DECOMPRESSED_BYTES, DECOMPRESSED_BYTES_PER_BYTE * size)
        if unpacked > limit:
            raise ExpansionLimitExceeded(
                f"a compressed record batch of {size} bytes becomes {unpacked} bytes, and {limit} is the most; send "
                "smaller batches, or uncompressed ones"
            )
        return unpacked

    def add(self, size: int) -> None:
        """Count bytes that are made. Raises ExpansionLimitExceeded."""
        self._made += size
        limit = FREE_EXPANDED_BYTES + self._bytes_per_byte * self.received
        if self._made > limit:
            raise ExpansionLimitExceeded(
                f"it unfolds to more than {limit} bytes from {self.received}; send texts that repeat less, larger "
                "record batches, or fewer columns"
            )


class CheckedStream:
    """A stream as the file that the Arrow library reads, each of its messages checked before it is given on.

    ``source`` is the file that the stream comes from.
    """

    closed = False

    def __init__(self, source: Any, unfolding: ExpansionCounter) -> None:
        self._messages: Any = pa.ipc.MessageReader.open_stream(source)
        self._unfolding, self._ended = unfolding, False
        self._left: Any = pa.py_buffer(b"")

    def read(self, size: int = -1) -> Any:
        """Up to ``size`` bytes, of one message; none at the end."""
        if not self._left.size and not self._ended:
            self._next()
        given, self._left = self._left.slice(0, size), self._left.slice(min(size, self._left.size))
        return given

    def _next(self) -> None:
        try:
            message = self._messages.read_next_message()
        except StopIteration:
            self._ended, self._left = True, pa.py_buffer(END_OF_STREAM)
            return
        self._unfolding.check(message)
        self._left = message.serialize()


def check_file(raw: pa.Buffer, unfolding: ExpansionCounter) -> None:
    """Check the messages of an Arrow file that the library has opened. Raises ExpansionLimitExceeded, or OSError."""
    try:
        _check_file(raw, unfolding)
    except (struct.error, IndexError) as error:
        raise OSError(f"the footer cannot be read: {error}") from None


def _check_file(raw: pa.Buffer, unfolding: ExpansionCounter) -> None:
    (length,) = struct.unpack_from("<i", raw, raw.size - 10)
    footer = FlatTable.root(raw.slice(raw.size - 10 - length, length).to_pybytes())
    for place in (_DICTIONARIES, _BATCHES):
        for offset, _metadata_length, _padding, _body_length in footer.structures(place, "<qiiq"):
            unfolding.check(pa.ipc.read_message(raw.slice(offset)))


def check_schema(schema: pa.Schema) -> None:
    """Raise ExpansionLimitExceeded if a schema has too many fields, or too deep ones."""
    waiting = [(schema.field(at).type, 1) for at in range(len(schema))]
    for count in range(MAX_ARROW_FIELDS + 1):
        if not waiting:
            return
        kind, depth = waiting.pop()
        if depth > MAX_ARROW_FIELD_DEPTH:
            raise ExpansionLimitExceeded(f"a field is within more than {MAX_ARROW_FIELD_DEPTH} others")
        waiting += [(inner, depth + 1) for inner in inner_types(kind)]
        if count + len(waiting) > MAX_ARROW_FIELDS:
            break
    raise ExpansionLimitExceeded(f"it has more than {MAX_ARROW_FIELDS} fields, those within others among them")


def inner_types(kind: pa.DataType) -> list[pa.DataType]:
    """Return the types that a type is made of."""
    if isinstance(kind, pa.BaseExtensionType):
        return [kind.storage_type]
    if pa.types.is_dictionary(kind):
        return [kind.index_type, kind.value_type]
    if pa.types.is_run_end_encoded(kind):
        return [kind.run_end_type, kind.value_type]
    return [kind.field(at).type for at in range(kind.num_fields)]
