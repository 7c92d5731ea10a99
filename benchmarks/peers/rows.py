"""A table row by row, as it is usually first written: csv, a marshmallow schema, the calculation, csv."""

from __future__ import annotations

import csv
import io

from marshmallow import Schema, ValidationError, fields, validate

from benchmarks.peers import pack


class RowSchema(Schema):
    """What a row holds."""

    cells = fields.Integer(required=True, validate=validate.Range(1, 24))
    capacity = fields.Float(required=True, validate=validate.Range(1, 1e6))
    power = fields.Float(required=True, validate=validate.Range(0, 1e5))
    state_of_charge = fields.Float(load_default=50.0, validate=validate.Range(0, 100))
    cell_resistance = fields.Float(required=True, validate=validate.Range(0, 1e4))
    discharge_rating = fields.Float(validate=validate.Range(0, 500, min_inclusive=False))


def row_by_row(body: bytes) -> bytes:
    """CSV in, CSV out."""
    schema = RowSchema()
    written = io.StringIO()
    writer = csv.DictWriter(written, [*pack.RESULT_UNITS, "cautions", "error"])
    writer.writeheader()
    for row in csv.DictReader(io.StringIO(body.decode())):
        try:
            answer = pack.answer(dict(schema.load(row)))
        except ValidationError as error:
            writer.writerow({"error": str(error.messages)})
            continue
        codes = " ".join(caution["code"] for caution in answer["cautions"])
        writer.writerow({**answer["results"], "cautions": codes})
    return written.getvalue().encode()
