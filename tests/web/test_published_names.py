"""Names of schemas that are published stay, wherever a new calculator is in the alphabet."""

import json

import pytest

from gramwatt.engine import registry
from gramwatt.web.openapi import published
from gramwatt.web.openapi.document import build_document
from gramwatt.web.openapi.published import PUBLISHED, get_published_name, list_calculators


def test_published_calculators_come_first() -> None:
    """All calculators are there once; those in the published contract are before all others."""
    names = [calculator.name for calculator in list_calculators()]
    paths = json.loads(PUBLISHED.read_bytes())["paths"]
    known = [name for name in names if f"/v1/{name}" in paths]
    assert sorted(names) == sorted(registry.load())
    assert names[: len(known)] == known


def test_publishing_renames_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """The contract is the same before and after its new calculators are published as one more release."""
    today, after = build_document(), published.read_published()
    assert len(after["x-releases"]) > 1
    before = {**after, "x-releases": after["x-releases"][:-1]}
    monkeypatch.setattr(published, "read_published", lambda: before)
    assert build_document() == today
    all_at_once = {**after, "x-releases": [[name for release in after["x-releases"] for name in release]]}
    monkeypatch.setattr(published, "read_published", lambda: all_at_once)
    assert build_document() != today, "the order of releases matters"


def test_the_published_name_of_an_input() -> None:
    """As `openapi/published.json` has it: two calculators have parts of different kinds, of which one is `Parts`."""
    assert get_published_name(registry.get("build"), "parts") == "Parts"
    assert get_published_name(registry.get("mass-margin"), "parts") == "MassMarginParts"
    assert get_published_name(registry.get("build"), "elevation") == ""
