"""Amps of an invented pack at two powers, by the client that openapi-python-client generates (see README.md).

python current.py http://127.0.0.1:8000
"""

import sys

from gramwatt_client import Client
from gramwatt_client.api.pack_current import pack_current
from gramwatt_client.models import PackCurrentAnswer, Problem


def main(service: str) -> None:
    """Print the current at two powers, and the problem of a request with a wrong unit."""
    client = Client(base_url=service)
    for power in ("120 W", "0.7 kW", "9 bananas"):
        response = pack_current.sync(client=client, cells=6, capacity="1.3 Ah", pack_power=power, cell_resistance=8)
        if isinstance(response, PackCurrentAnswer):
            print(f"{power}: {response.results.pack_current} A")
            for caution in response.cautions:
                print(f"  ! {caution.text}")
        elif isinstance(response, Problem):
            print(f"{power}: {response.detail}")


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "http://127.0.0.1:8000")
