"""examples/build: service and command line compute the craft, and its packs differ as the README explains."""

import json
import subprocess
import sys
import urllib.request
from pathlib import Path

CRAFT = Path(__file__).resolve().parents[2] / "examples" / "build" / "craft.json"


def test_the_service_answers_for_both_packs(service: str) -> None:
    """A rule of thumb, without a source: two cells more of the same capacity fly longer, and lift more."""
    request = urllib.request.Request(
        f"{service}/v1/build", CRAFT.read_bytes(), {"Content-Type": "application/json"}, method="POST"
    )
    with urllib.request.urlopen(request, timeout=60) as answer:
        body = json.load(answer)
    four, six = body["results"]["by_setup"]
    assert four["verdict"] == six["verdict"] == "under"
    assert six["mass_change"] == 73  # by hand: 228 - 155
    assert 0 < six["endurance_change_share"] < 50
    assert six["thrust"] > four["thrust"]
    assert body["uncertainty"]["by_setup.endurance"]["low"][0] < four["endurance"]


def test_the_command_line_answers_the_same(service: str) -> None:
    ran = subprocess.run(
        [sys.executable, "-m", "gramwatt", "calc", "build", "--csv", "--body", str(CRAFT)],
        capture_output=True,
        check=True,
    )
    request = urllib.request.Request(
        f"{service}/v1/build?format=csv", CRAFT.read_bytes(), {"Content-Type": "application/json"}, method="POST"
    )
    with urllib.request.urlopen(request, timeout=60) as answer:
        assert answer.read() == ran.stdout
    assert len(ran.stdout.splitlines()) == 3
