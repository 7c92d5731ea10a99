"""The limits on what one request may make, each with its reason.

Decoders are bounded by what they make, not by what was sent: a few bytes can unfold to gigabytes.
"""

from __future__ import annotations

from typing import Final

MAX_TABLE_COLUMNS: Final = 200
"""Columns of a table, those passed through among them: no calculator has half as many inputs."""

MAX_RECORDING_COLUMNS: Final = 1000
"""Columns of a recording: loggers of flight controllers write up to some hundreds."""

MAX_HEADER_BYTES: Final = 64 * 1024
"""Bytes of the line that names the columns: 1000 names of 64 characters."""

MAX_ROW_BYTES: Final = 1024 * 1024
"""Bytes of a row of a table: rows hold numbers and short texts."""

MAX_COMPARED_NAMES: Final = 20
"""Unknown names of one request that are compared with the known ones to find what was meant. Each takes some 50 µs."""

MAX_LISTED_NAMES: Final = 80
"""Unknown names of one request that are listed; the rest is counted. A problem has room for a hundred errors."""

MAX_JSON_NAMES: Final = 100_000
MAX_JSON_CONTAINERS: Final = 100_000
"""Names of members, and lists and objects, of a JSON text. Each takes some hundred bytes of memory, twenty times what
it takes to send one. The largest request has a few thousand."""

MAX_RECORD_BATCH_BYTES: Final = 256 * 1024 * 1024
"""Bytes of an Arrow record batch, which is in memory as a whole."""

FREE_CELLS: Final = 250_000
CELLS_PER_BYTE: Final = 8
"""An Arrow stream may make so many cells, and so many more for each byte of it: a cell takes a bit or more, but in a
column of nulls, which takes nothing however long it is."""

FREE_EXPANDED_BYTES: Final = 8 * 1024 * 1024
EXPANDED_BYTES_PER_BYTE: Final = 64
"""An Arrow stream may unfold to so many bytes, and so many more for each byte of it: compressed buffers, dictionaries,
views and runs describe large columns in few bytes."""

FREE_DECOMPRESSED_BYTES: Final = 8 * 1024 * 1024
DECOMPRESSED_BYTES_PER_BYTE: Final = 8
"""Bytes of a compressed record batch when it is decompressed, at least; more where it has at least an eighth of that.
65,536 rows of 16 numbers are 8 MiB."""

EXPANDED_BLOCK_BYTES: Final = 16 * 1024 * 1024
"""Bytes of a block of rows when dictionaries, views and runs are written out, unless the batch itself is larger."""

MAX_ARROW_FIELDS: Final = 2000
MAX_ARROW_FIELD_DEPTH: Final = 12
"""Fields of an Arrow schema, those inside of others among them, and how deep they may be: each costs time and memory
in every batch, however short."""

SHORT_INPUT_BYTES: Final = 8192
"""Bytes of inputs that a calculator without lists answers in the event loop: some hundred inputs with units."""

SHORT_NESTED_INPUT_BYTES: Final = 2048
"""Bytes of inputs with lists, tables or recordings that are computed there: the time grows with the square of their
entries."""

REQUEST_SECONDS: Final = 30.0
"""Seconds of the processor's time for one request, waiting not counted; a service may set GRAMWATT_REQUEST_SECONDS."""

BYTES_PER_SECOND: Final = 1_000_000
"""Each so many bytes of a table add a second, some thirty times as much as its rows usually take."""

MAX_RESULT_ROWS: Final = 250_000
"""Rows of results in one response, all rows of a table sent together: an hour of video at 60 frames a second."""

FREE_RESULT_ROWS: Final = 20_000
RESULT_ROWS_PER_SAMPLE: Final = 64
"""So many rows of results, and so many more for each sample of a recording: eleven minutes of video at 30 frames a
second, or any video whose recording has a sample a second."""

MAX_NESTED_ROWS: Final = 20_000
"""Rows of results within one row of a table, where they are in memory as objects, 1.5 kB each."""

FREE_RESPONSE_BYTES: Final = 256 * 1024 * 1024
RESPONSE_BYTES_PER_BYTE: Final = 128
"""A table may answer with so many bytes, and so many more for each byte that was sent: columns that pass through may be
compressed to nearly nothing. A row of short numbers becomes some sixty times as long."""

MAX_JOINED_RESPONSE_BYTES: Final = 8 * 1024 * 1024
"""Bytes of the response to a short table that are gathered before the first is sent."""

MAX_GRID_NUMBERS: Final = 300_000_000
"""Numbers that a sweep or a chart may compute, some seconds; see `engine/tables/grid_cost.py`."""

MAX_STACKED_ROWS: Final = 32_768
"""Rows, copies that carry uncertainty among them, that a formula is called with at once in a table."""

MAX_PIXELS: Final = 3840 * 2160
"""Pixels of a picture that is made of them, which takes 4 bytes for each."""

MAX_AXES: Final = 2
"""Inputs that a sweep of the service varies."""

MAX_AXIS_POINTS: Final = 500
"""Points along an axis, if the calculator computes all of them at once."""

MAX_AXIS_POINTS_ROW_BY_ROW: Final = 20
"""Points along an axis, if the calculator computes each point by itself."""

MAX_TABLE_BYTES: Final = 1024**3
"""Bytes of a table that a request sends, unless `GRAMWATT_LARGEST_TABLE` is set."""

MAX_RECORDING_BYTES: Final = 64 * 1024 * 1024
"""Bytes of a recording that a request sends, unless `GRAMWATT_LARGEST_RECORDING` is set; three million samples."""
