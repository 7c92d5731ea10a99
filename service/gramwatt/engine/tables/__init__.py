"""Tables of questions: read in pieces, answered by columns, written in pieces; memory bounded whatever their length.

`reading` and the modules ending in ``_in`` make `Chunk`s of bytes; `answering` makes an `Answered` of each; `writing`
makes bytes of those. `batch` joins them; `sweep` makes the chunks of a grid instead. The path to the formula is the
one of a single question: `edge.run`.
"""
