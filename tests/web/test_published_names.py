"""Names of schemas that are published stay, wherever a new calculator is in the alphabet."""

import json

from gramwatt.engine import registry
from gramwatt.web.openapi.published import PUBLISHED, get_published_name, list_calculators


def test_published_calculators_come_first() -> None:
    """All calculators are there once; those in the published contract are before all others."""
    names = [calculator.name for calculator in list_calculators()]
    paths = json.loads(PUBLISHED.read_bytes())["paths"]
    published = [name for name in names if f"/v1/{name}" in paths]
    assert sorted(names) == sorted(registry.load())
    assert names[: len(published)] == published


def test_the_published_name_of_an_input() -> None:
    """As `openapi/published.json` has it: two calculators have parts of different kinds, of which one is `Parts`."""
    assert get_published_name(registry.get("build"), "parts") == "Parts"
    assert get_published_name(registry.get("mass-margin"), "parts") == "MassMarginParts"
    assert get_published_name(registry.get("build"), "elevation") == ""
