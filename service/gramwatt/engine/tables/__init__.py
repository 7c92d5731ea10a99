"""Compute tables of any length in bounded memory: read them in chunks, compute columns, write chunks.

`csv_reader`, `json_reader` and `arrow_reader` make a `Chunk` of bytes, `compute` makes a `BatchResult` of a chunk, and
`writers` and `arrow_writer` make bytes of that. `batch` joins the three; `sweep` makes the chunks of a grid instead.
The formula is called as for a single request, by `engine.evaluate`.
"""
