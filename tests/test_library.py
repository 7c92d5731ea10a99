"""The package as a library: the service's answers without the service."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import orjson
import pytest
import yaml

import gramwatt
from gramwatt.engine import registry
from gramwatt.model import Example
from gramwatt.web import create_app

EXAMPLES = [
    pytest.param(calculator.name, example, id=f"{calculator.name}: {example.title}")
    for calculator in registry.load().values()
    for example in calculator.examples
]


@pytest.mark.parametrize(("name", "example"), EXAMPLES)
def test_it_gives_what_the_service_gives(name: str, example: Example) -> None:
    given: dict[str, Any] = dict(example.given)
    answer = gramwatt.calculate(name, **given)
    served = create_app().test_client().post(f"/v1/{name}", json=given)
    assert answer == orjson.loads(served.data)


def test_units_and_working() -> None:
    answer = gramwatt.calculate("pack-energy", cells=6, capacity="1.3 Ah", units={"usable_energy": "kJ"}, working=True)
    assert answer["results"]["usable_energy"] == 83.1168  # by hand: 23.088 Wh x 3.6
    (step,) = [each for each in answer["working"]["steps"] if each["name"] == "usable_energy"]
    assert step["formula"] == "nominal_energy * (1 - reserve)"
    assert (step["value"], step["unit"]) == (83.1168, "kJ")


def test_invalid_input_lists_every_error() -> None:
    with pytest.raises(gramwatt.InvalidInput) as caught:
        gramwatt.calculate("pack-energy", cells=0, capacity="1.3 V", reserv=20)
    assert {error.pointer for error in caught.value.errors} == {"/cells", "/capacity", "/reserv"}
    assert all(error.accepted for error in caught.value.errors)
    for name in ("cells", "capacity", "reserv"):
        assert f"{name}: " in str(caught.value)
    assert isinstance(caught.value, ValueError)


def test_a_missing_input_is_reported_with_what_it_accepts() -> None:
    with pytest.raises(gramwatt.InvalidInput, match=r"capacity is required.*mAh"):
        gramwatt.calculate("pack-energy", cells=6)


def test_a_wrong_unit_of_a_result_is_rejected() -> None:
    with pytest.raises(gramwatt.InvalidInput, match="usable_energy is available in Wh"):
        gramwatt.calculate("pack-energy", cells=6, capacity=1300, units={"usable_energy": "kg"})


def test_an_unknown_calculator_tells_near_ones() -> None:
    with pytest.raises(gramwatt.UnknownCalculator, match="Did you mean pack-energy") as caught:
        gramwatt.calculate("pack-enregy")
    assert "pack-energy" in caught.value.meant
    assert isinstance(caught.value, LookupError)


def test_no_answer_is_none_with_its_reason() -> None:
    answer = gramwatt.calculate("pack-current", cells=6, capacity=1300, pack_power=99_999)
    assert answer["results"]["pack_current"] is None
    assert any("pack_current" in caution.get("results", ()) for caution in answer["cautions"])


def test_documents_have_the_same_version() -> None:
    root = Path(__file__).resolve().parents[1]
    releases = re.findall(r"^## \[(\d+\.\d+\.\d+)\]", (root / "CHANGELOG.md").read_text("utf-8"), re.MULTILINE)
    assert releases[0] == gramwatt.__version__
    assert yaml.safe_load((root / "CITATION.cff").read_text("utf-8"))["version"] == gramwatt.__version__
    build = tomllib.loads((root / "pyproject.toml").read_text("utf-8"))["tool"]["hatch"]["version"]
    found = re.search(build["pattern"], (root / build["path"]).read_text("utf-8"))
    assert found is not None
    assert found["version"] == gramwatt.__version__


def test_what_it_offers_exists() -> None:
    assert all(hasattr(gramwatt, name) for name in gramwatt.__all__)
