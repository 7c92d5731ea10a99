"""Energy of packs and of a flight, with the pydantic models that datamodel-code-generator generates (see README.md).

python models_only.py http://127.0.0.1:8000 ../packs.csv ../flight.csv
"""

import sys
from pathlib import Path

import httpx
from gramwatt_models import FlightLogResponse, PackEnergyRequest, PackEnergyResponse, PackEnergyRow, Problem
from pydantic import TypeAdapter, ValidationError

ROWS = TypeAdapter(list[PackEnergyRow])


def main(service: str, packs: str, flight: str) -> None:
    """Print the energy of a pack, the problem of a wrong unit, and the energy of each row and of a recording."""
    with httpx.Client(base_url=service, headers={"Accept": "application/json"}) as http:
        inputs = PackEnergyRequest.model_validate({"cells": 6, "capacity": "1.3 Ah"})
        answer = http.post("/v1/pack-energy", json=inputs.model_dump(mode="json", exclude_unset=True))
        print(f"1.3 Ah: {PackEnergyResponse.model_validate_json(answer.content).results.usable_energy:.3f} Wh")

        wrong = {"cells": 6, "capacity": "9 bananas"}
        try:
            PackEnergyRequest.model_validate(wrong)
        except ValidationError:
            answer = http.post("/v1/pack-energy", json=wrong)
            print(f"9 bananas: {Problem.model_validate_json(answer.content).detail}")

        csv = {"Content-Type": "text/csv"}
        answer = http.post("/v1/pack-energy/batch", content=Path(packs).read_bytes(), headers=csv)
        for number, row in enumerate(ROWS.validate_json(answer.content), 1):
            print(f"row {number}: {row.usable_energy:.3f} Wh")
        answer = http.post("/v1/flight-log/log", content=Path(flight).read_bytes(), headers=csv)
        print(f"flight: {FlightLogResponse.model_validate_json(answer.content).results.energy_used or 0:.3f} Wh")


if __name__ == "__main__":
    main(*sys.argv[1:])
