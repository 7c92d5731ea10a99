"""``gramwatt calc NAME --help``: every input with its label, unit, default and bounds."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from gramwatt.__main__ import main
from gramwatt.engine import registry
from gramwatt.engine.craft_fields import get_choices
from gramwatt.model import Choice, Quantity, get_label


@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize("name", registry.list_names())
def test_it_lists_inputs_by_group_and_results(name: str, width: int) -> None:
    calculator = registry.get(name)
    shown = CliRunner(env={"COLUMNS": str(width)}).invoke(main, ["calc", name, "--help"])
    assert shown.exit_code == 0
    lines = shown.output.splitlines()
    assert [line for line in lines if len(line) > width and "gramwatt calc" not in line] == []
    before, _, after = shown.output.partition("\nResults\n")
    listed, unwrapped = [line.split()[0] for line in before.splitlines() if line.strip()], " ".join(before.split())
    for field, kind in calculator.input_fields.items():
        assert field in listed
        assert get_label(field, kind).split()[0] in unwrapped
        if isinstance(kind, Choice):
            assert all(option in unwrapped for option in kind.options)
        assert all(f".{column}" in listed for column, inner in kind.columns.items() if inner.is_given)
    for field in calculator.result_fields:
        assert f"\n  {field} " in f"\n{after}"
    groups = [kind.group.value for kind in calculator.input_fields.values() if kind.group is not None]
    assert [line for line in lines if line in groups] == sorted(set(groups), key=lines.index)


def test_a_row_has_unit_default_and_bounds() -> None:
    output = CliRunner(env={"COLUMNS": "120"}).invoke(main, ["calc", "pack-current", "-h"]).output
    kind = registry.get("pack-current").input_fields["state_of_charge"]
    assert isinstance(kind, Quantity)
    (row,) = [line for line in output.splitlines() if line.strip().startswith("state_of_charge")]
    assert f", {kind.unit} " in row
    assert f" {kind.default:g} % " in row
    assert row.endswith(f"{kind.at_least:g} to {kind.at_most:g}")
    (row,) = [line for line in output.splitlines() if line.strip().startswith("cells ")]
    assert " required " in row


@pytest.mark.parametrize("name", registry.list_names())
def test_what_follows_from_other_inputs_is_explained(name: str) -> None:
    calculator = registry.get(name)
    output = CliRunner(env={"COLUMNS": "120"}).invoke(main, ["calc", name, "--help"]).output
    lines, unwrapped = output.splitlines(), " ".join(output.split())
    for assumption in calculator.assumptions:
        table, _, column = assumption.name.rpartition(".")
        shown = f"    .{column} " if table else f"  {column} "
        kind = calculator.input_fields[table].columns[column] if table else calculator.input_fields[column]
        default = "follows" if kind.default is None else str(kind.default)
        assert any(line.startswith(shown) and f" {default} " in line for line in lines)
        assert f" {assumption.name} {calculator.describe_default(assumption.name)} " in unwrapped


def test_each_group_of_alternatives_is_a_sentence() -> None:
    lines = CliRunner(env={"COLUMNS": "120"}).invoke(main, ["calc", "build", "--help"]).output.splitlines()
    groups = registry.get("build").any_of
    assert len(groups) > 1
    assert [line for line in lines if line.startswith("Give ")] == [f"Give {' or '.join(group)}." for group in groups]


def test_the_inputs_that_choose_rows_of_a_craft_are_named() -> None:
    output = CliRunner(env={"COLUMNS": "120"}).invoke(main, ["calc", "pack-energy", "--help"]).output
    (line,) = [line for line in output.splitlines() if line.startswith("With --craft FILE")]
    assert all(member in line for member in get_choices())


def test_the_help_of_the_command_itself_has_the_options() -> None:
    output = CliRunner().invoke(main, ["calc", "--help"]).output
    for option in ("--json", "--units", "--digits", "--cautions", "--help"):
        assert option in output
