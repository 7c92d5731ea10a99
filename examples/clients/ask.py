"""Amps of an invented pack at two powers, by the client that openapi-python-client generates (see README.md).

python ask.py http://127.0.0.1:8000
"""

import sys

from gramwatt_client import Client
from gramwatt_client.api.pack_current import pack_current
from gramwatt_client.models import PackCurrentAnswer, Problem


def main(service: str) -> None:
    """Ask, and print the answers and one refusal."""
    client = Client(base_url=service)
    for power in ("120 W", "0.7 kW", "9 bananas"):
        answer = pack_current.sync(client=client, cells=6, capacity="1.3 Ah", power=power, cell_resistance=8)
        if isinstance(answer, PackCurrentAnswer):
            print(f"{power}: {answer.results.current} A")
            for caution in answer.cautions:
                print(f"  ! {caution.text}")
        elif isinstance(answer, Problem):
            print(f"{power}: {answer.detail}")


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "http://127.0.0.1:8000")
