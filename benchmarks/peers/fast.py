"""The same calculator written by hand on FastAPI: pydantic checks the inputs, plain floats, orjson writes.

Written to be fast: coroutines, so that no thread pool is entered, and a finished Response, which FastAPI does not check
or convert again. It takes numbers only (no units), and has no ETag, working, uncertainty, CSV or single values.
"""

from __future__ import annotations

from typing import Annotated, Literal

import orjson
from fastapi import FastAPI, Query, Response
from pydantic import BaseModel, ConfigDict, Field

from benchmarks.peers import pack

app = FastAPI()


class Inputs(BaseModel):
    """The inputs, in the units of the service's contract."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    cells: Annotated[int, Field(ge=1, le=24)]
    capacity: Annotated[float, Field(ge=1, le=1e6)]
    pack_power: Annotated[float, Field(ge=0, le=1e5)]
    chemistry: Literal["lipo", "lihv", "li-ion", "lifepo4"] = "lipo"
    state_of_charge: Annotated[float, Field(ge=0, le=100)] = 50
    open_circuit_voltage: Annotated[float | None, Field(gt=0, le=200)] = None
    cell_resistance: Annotated[float | None, Field(ge=0, le=1e4)] = None
    lead_resistance: Annotated[float, Field(ge=0, le=1e4)] = 0
    pack_temperature: Annotated[float, Field(ge=-30, le=90)] = 25
    activation_energy: Annotated[float, Field(ge=0, le=100)] = 20
    discharge_rating: Annotated[float | None, Field(gt=0, le=500)] = None


def respond(inputs: Inputs) -> Response:
    """Return the results as JSON."""
    made = pack.answer(inputs.model_dump(exclude_unset=True))
    return Response(orjson.dumps(made), media_type="application/json")


@app.get("/v1/pack-current")
async def get_by_query(inputs: Annotated[Inputs, Query()]) -> Response:
    """Answer inputs in the query."""
    return respond(inputs)


@app.post("/v1/pack-current")
async def get_by_body(inputs: Inputs) -> Response:
    """Answer inputs in the body."""
    return respond(inputs)
