"""What ``gramwatt calc`` prints: the headline, findings, results with units, tables that fit the terminal."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from click.testing import CliRunner, Result

from gramwatt import calculate
from gramwatt.__main__ import main
from gramwatt.charts.formatting import summarize_inputs
from gramwatt.cli.text_tables import Cell, TextTable, wrap_columns
from gramwatt.engine import registry
from gramwatt.model import Choice, get_label
from gramwatt.model.messages import format_probability

WIDTHS = (80, 120)
PACK = ("calc", "pack-energy", "cells=6", "capacity=1300")
EXAMPLES = [
    pytest.param(calculator.name, dict(example.given), id=f"{calculator.name}: {example.title}")
    for calculator in registry.load().values()
    for example in calculator.examples
]


def run(*arguments: str, width: int = 100, body: object = None) -> Result:
    words = (*arguments, "--body", "-") if body is not None else arguments
    sent = json.dumps(body).encode() if body is not None else None
    return CliRunner(env={"COLUMNS": str(width)}).invoke(main, words, input=sent)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize(("name", "given"), EXAMPLES)
def test_every_example_fits_the_terminal_and_has_no_name_of_a_program(
    name: str, given: dict[str, Any], width: int
) -> None:
    """No line is longer than the terminal is wide, and labels take the place of snake_case."""
    result = run("calc", name, width=width, body=given)
    assert result.exit_code == 0, result.output
    lines = result.stdout.splitlines()
    assert [line for line in lines if len(line) > width] == []
    assert not {"nan", "inf", "None"} & set(result.stdout.split())
    labels = " ".join(re.sub(r"\{.*?\}", "", line) for line in lines)
    assert re.findall(r"\b[a-z0-9]+_[a-z0-9_]+\b", labels) == []


@pytest.mark.parametrize(("name", "given"), EXAMPLES)
def test_no_finding_is_hidden_and_what_is_always_true_is_one_line(name: str, given: dict[str, Any]) -> None:
    def unwrap(text: str) -> str:
        return " ".join(text.split())

    cautions = calculate(name, **given)["cautions"]
    folded, unfolded = (unwrap(run("calc", name, *more, body=given).stdout) for more in ((), ("--cautions",)))
    for caution in cautions:
        text = unwrap(caution["text"])
        assert text in unfolded
        assert (text in folded) == (caution["kind"] != "standing")
    count = sum(caution["kind"] == "standing" for caution in cautions)
    assert (f"{count} caution" in folded) == (count > 0)
    assert "with --cautions" not in unfolded


def test_results_have_labels_units_and_a_range() -> None:
    lines = run("calc", "pack-energy", "cells=6", "capacity=1300 ± 13 mAh").stdout.splitlines()
    at = next(index for index, line in enumerate(lines) if line.endswith("95 % range"))
    label = get_label("usable_energy", registry.load()["pack-energy"].result_fields["usable_energy"])
    # Stated: 1 % of 23.088 Wh is one standard uncertainty; 1.96 of them on either side are the range.
    assert re.split(r"\s{2,}", lines[at + 1]) == [label, "23.09 Wh", "22.64 to 23.54"]
    assert any(line.endswith("  no result") for line in lines)


def test_findings_come_before_the_results() -> None:
    lines = run("calc", "pack-current", "cells=6", "capacity=1300 mAh", "pack_power=500").stdout.splitlines()
    finding = next(index for index, line in enumerate(lines) if line.startswith("! "))
    assert finding < next(index for index, line in enumerate(lines) if line.endswith("95 % range"))
    assert any(line.startswith("? ") for line in lines[finding:])


def test_digits_and_units() -> None:
    shown = run(*PACK, "--digits", "2", "--units", "usable_energy:kJ").stdout
    assert re.search(r"  83 kJ$", shown, re.MULTILINE)


@pytest.mark.parametrize(("mass", "expected"), [(300.0, "0"), (250.3, "< 0.1")])
def test_a_probability_has_one_digit_after_the_point(mass: float, expected: str) -> None:
    """By hand, above a limit of 250 g, a scale of 0.1 g: 300 g are 1,700 standard uncertainties, 250.3 g are ten."""
    given: dict[str, Any] = {"masses": [mass], "mass_limit": 250, "scale_resolution": 0.1}
    assert 0 <= calculate("mass-margin", **given)["results"]["probability_under_limit"] < 1e-6
    label = get_label(
        "probability_under_limit", registry.load()["mass-margin"].result_fields["probability_under_limit"]
    )
    assert re.search(rf"^{label} +{expected} %$", run("calc", "mass-margin", body=given).stdout, re.MULTILINE)


@pytest.mark.parametrize(
    ("percent", "expected"),
    [(0, "0"), (3e-233, "< 0.1"), (0.1, "0.1"), (18.249, "18.2"), (99.9, "99.9"), (99.96, "> 99.9"), (100, "100")],
)
def test_a_probability_is_never_rounded_to_all_or_nothing(percent: float, expected: str) -> None:
    assert format_probability(percent) == expected


def test_a_change_that_is_rounding_is_none() -> None:
    """The first setup is compared with itself."""
    calculator = registry.load()["build"]
    report = run("calc", "build", body=dict(calculator.examples[0].given)).stdout
    assert not re.search(r"\de-\d", report)
    columns = calculator.result_tables["by_setup"].columns
    labels = [get_label(name, kind) for name, kind in columns.items() if "_change" in name]
    assert len(labels) == 6
    for label in labels:
        assert re.search(rf"^{label}, \S+ +0  ", report, re.MULTILINE), label


def test_working() -> None:
    lines = run("calc", "pack-energy", "cells=6", "capacity=1300 ± 13 mAh", "--working").stdout.splitlines()
    at = lines.index("  usable_energy [1]")
    assert lines[at + 1 : at + 4] == [
        "      = nominal_energy * (1 - reserve)",
        "      = (28.86 Wh) * (1 - (20 %))",
        "      = 23.088 Wh",
    ]
    assert lines[lines.index("Sources") + 1].startswith("  [1] Watt-hours on a label")


def test_assumed_values_have_labels_and_units() -> None:
    shown = " ".join(run(*PACK).stdout.split())
    chemistry = registry.load()["pack-energy"].input_fields["chemistry"]
    assert isinstance(chemistry, Choice)
    label = get_label("reserve", registry.load()["pack-energy"].input_fields["reserve"]).lower()
    assert re.search(rf"Assumed: [^.]*; chemistry {chemistry.get_option_label('lipo')}; {label} 20 %\.", shown)


TABLE = TextTable(
    ("4 cells", "6 cells"),
    ("Flight time, min", "Mass, g", "Ended by"),
    ((Cell("6.8", "4.1 to 9.1"), Cell("508.8"), Cell("reserve")), (Cell("8.9"), Cell("581.8"), Cell("cut-off"))),
    (True, True, False),
)


def test_a_table_with_more_columns_than_rows_is_turned() -> None:
    lines, shows_ranges = TABLE.fit(80)
    assert shows_ranges
    assert lines == [
        "                           4 cells  6 cells",
        "Flight time, min  6.8 (4.1 to 9.1)      8.9",
        "Mass, g                      508.8    581.8",
        "Ended by                   reserve  cut-off",
    ]


def test_a_narrow_terminal_leaves_out_ranges_then_splits() -> None:
    lines, shows_ranges = TABLE.fit(40)
    assert not shows_ranges
    assert lines[1] == "Flight time, min      6.8      8.9"
    lines, _ = TABLE.fit(24)
    assert max(map(len, lines)) <= 24
    assert [line.split()[0] for line in lines if line.strip()].count("4") >= 2, "the names of the rows are repeated"


def test_a_long_table_keeps_its_rows() -> None:
    table = TextTable(
        tuple(f"step {number}" for number in range(5)),
        ("Thrust, gf", "Current, A"),
        tuple((Cell(str(100 * number)), Cell(str(number))) for number in range(5)),
        (True, True),
    )
    lines, _ = table.fit(80)
    assert lines[0].split("  ")[-2:] == ["Thrust, gf", "Current, A"]
    assert [line.split() for line in lines[1:]] == [
        ["step", str(number), str(100 * number), str(number)] for number in range(5)
    ]


def test_text_is_wrapped_in_its_column() -> None:
    rows = [("cells", "a whole number of cells in series", "1 to 24")]
    (lines,) = wrap_columns(rows, (10, 14), 60)
    assert lines[0].split("  ")[1] == "cells"
    assert " ".join(line.strip() for line in lines).replace("1 to 24", "").split() == [
        "cells", "a", "whole", "number", "of", "cells", "in", "series",
    ]  # fmt: skip


def test_a_terminal_without_colours_gets_none() -> None:
    assert "\x1b[" not in run(*PACK).stdout
    assert "\x1b[1m" in CliRunner().invoke(main, PACK, color=True).output
    assert "\x1b[" not in CliRunner(env={"NO_COLOR": "1"}).invoke(main, PACK, color=True).output


def test_an_input_that_is_also_a_result_has_the_unit_of_its_value() -> None:
    """25 °C is 77 °F: the result alone is converted, in the report and on the chart."""
    result = run("calc", "air-density", "air_temperature=25", "elevation=0", "--units", "air_temperature:degF")
    assert result.exit_code == 0, result.output
    assert "77 °F" in result.stdout
    assert "77 °C" not in result.stdout
    assert "25 °F" not in result.stdout
    response = calculate("air-density", air_temperature=25, elevation=0, units={"air_temperature": "degF"})
    assert "Air temperature 25 °C" in summarize_inputs(registry.get("air-density"), response)
