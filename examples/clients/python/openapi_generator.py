"""Energy of packs and of a flight, by the Python client that openapi-generator generates (see README.md).

python openapi_generator.py http://127.0.0.1:8000 ../packs.csv ../flight.csv
"""

import sys
from pathlib import Path

from gramwatt_generated import (
    ApiClient,
    ApiException,
    Configuration,
    FlightLogApi,
    PackEnergyApi,
    PackEnergyRow,
    Problem,
)
from pydantic import TypeAdapter

ROWS = TypeAdapter(list[PackEnergyRow])


def main(service: str, packs: str, flight: str) -> None:
    """Print the energy of a pack, the problem of a wrong unit, and the energy of each row and of a recording."""
    with ApiClient(Configuration(host=service)) as client:
        api = PackEnergyApi(client)
        for capacity in ("1.3 Ah", "9 bananas"):
            try:
                answer = api.calculate_pack_energy(cells=6, capacity=capacity)
                print(f"{capacity}: {answer.results.usable_energy:.3f} Wh")
            except ApiException as error:
                if not isinstance(error.data, Problem):
                    raise
                print(f"{capacity}: {error.data.detail}")

        # The generated function of a batch sends JSON. A table as CSV goes through the client that it uses.
        url = f"{service}/v1/pack-energy/batch"
        headers = {"Content-Type": "text/csv", "Accept": "application/json"}
        rows = client.call_api("POST", url, header_params=headers, body=Path(packs).read_text(encoding="utf-8"))
        for number, row in enumerate(ROWS.validate_json(rows.read()), 1):
            print(f"row {number}: {row.usable_energy:.3f} Wh")
        log = Path(flight).read_text(encoding="utf-8")
        recorded = FlightLogApi(client).calculate_flight_log_from_recording(log, _content_type="text/csv")
        print(f"flight: {recorded.results.energy_used or 0:.3f} Wh")


if __name__ == "__main__":
    main(*sys.argv[1:])
