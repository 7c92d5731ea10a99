"""Energy of packs and of a flight, by the client that openapi-python-client generates (see README.md).

python typed_client.py http://127.0.0.1:8000 ../packs.csv ../flight.csv
"""

import sys
from pathlib import Path

from gramwatt_client import Client
from gramwatt_client.api.pack_energy import calculate_pack_energy
from gramwatt_client.models import FlightLogResponse, PackEnergyResponse, PackEnergyRow, Problem


def main(service: str, packs: str, flight: str) -> None:
    """Print the energy of a pack, the problem of a wrong unit, and the energy of each row and of a recording."""
    with Client(base_url=service, headers={"Accept": "application/json"}) as client:
        for capacity in ("1.3 Ah", "9 bananas"):
            answer = calculate_pack_energy.sync(client=client, cells=6, capacity=capacity)
            if isinstance(answer, PackEnergyResponse):
                print(f"{capacity}: {answer.results.usable_energy:.3f} Wh")
            elif isinstance(answer, Problem):
                print(f"{capacity}: {answer.detail}")

        # The generated functions send JSON. A table or a recording as CSV goes through the client that they use.
        http = client.get_httpx_client()
        csv = {"Content-Type": "text/csv"}
        rows = http.post("/v1/pack-energy/batch", content=Path(packs).read_bytes(), headers=csv).raise_for_status()
        for number, row in enumerate(rows.json(), 1):
            print(f"row {number}: {PackEnergyRow.from_dict(row).usable_energy:.3f} Wh")
        log = http.post("/v1/flight-log/log", content=Path(flight).read_bytes(), headers=csv).raise_for_status()
        print(f"flight: {FlightLogResponse.from_dict(log.json()).results.energy_used or 0:.3f} Wh")


if __name__ == "__main__":
    main(*sys.argv[1:])
