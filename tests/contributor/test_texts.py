"""README.md and CHANGELOG.md follow the calculators."""

from __future__ import annotations

import pytest

from contributor import nomenclature
from contributor.texts import DRAW_ORDER, ROOT, add_entries, changelog, list_draw_order, readme
from gramwatt.model.constants import list_constants

STALE = "run `make contract` and look at the diff"


def test_the_table_in_the_readme_is_current() -> None:
    assert (ROOT / "README.md").read_text(encoding="utf-8") == readme(), STALE


def test_the_changelog_mentions_every_calculator_that_is_new() -> None:
    assert (ROOT / "CHANGELOG.md").read_text(encoding="utf-8") == changelog(), STALE


def test_the_nomenclature_is_current() -> None:
    assert nomenclature.PATH.read_text(encoding="utf-8") == nomenclature.nomenclature(), STALE


def test_the_order_of_draws_is_current() -> None:
    assert DRAW_ORDER.read_text(encoding="utf-8") == list_draw_order(), STALE


def test_every_symbol_names_a_quantity_or_a_constant() -> None:
    names = {*nomenclature.quantities(), *(each.name for each in list_constants())}
    assert [name for name in nomenclature.SYMBOLS if name not in names] == []


@pytest.mark.parametrize(
    ("before", "after"),
    [
        pytest.param(
            "# Changelog\n\n## [Unreleased]\n\n## [0.2.0]\n",
            "# Changelog\n\n## [Unreleased]\n\n### Added\n\n- `cable-drop`: A wire.\n\n## [0.2.0]\n",
            id="nothing-unreleased",
        ),
        pytest.param(
            "## [Unreleased]\n\n### Added\n\n- Speed.\n\n## [0.2.0]\n\n### Added\n\n- Old.\n",
            "## [Unreleased]\n\n### Added\n\n- `cable-drop`: A wire.\n- Speed.\n\n## [0.2.0]\n\n### Added\n\n- Old.\n",
            id="beside-others",
        ),
        pytest.param(
            "## [Unreleased]\n", "## [Unreleased]\n\n### Added\n\n- `cable-drop`: A wire.\n", id="first-version"
        ),
    ],
)
def test_an_entry_goes_under_added_of_the_unreleased_version(before: str, after: str) -> None:
    assert add_entries(before, ["- `cable-drop`: A wire."]) == after
    assert add_entries(before, []) == before


def test_a_changelog_without_the_heading_is_an_error() -> None:
    with pytest.raises(ValueError, match="no heading"):
        add_entries("# Changelog\n", ["- `cable-drop`: A wire."])
