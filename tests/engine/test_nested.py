"""Parse lists and tables: defaults, uncertainties, and errors that point at entries."""

import numpy as np
import pytest

from engine.column_helpers import MASS, MASSES, PARTS, PROBES, read_cell, read_errors
from gramwatt.engine import nested
from gramwatt.engine.column_types import TableColumn
from gramwatt.model import NumberList


def test_a_list() -> None:
    """Entries by position, in SI, with their uncertainties."""
    column = read_cell(MASSES, [1, "2 g", "0.003 ± 0.001 kg"])
    assert not column.errors
    np.testing.assert_allclose(column.values, [[0.001, 0.002, 0.003]], rtol=1e-12)
    assert column.uncertainty is not None
    np.testing.assert_allclose(column.uncertainty, [[0, 0, 0.001]], rtol=1e-12)


def test_errors_of_a_list_point_at_its_entries() -> None:
    assert [error.pointer for error in read_errors(MASSES, [True, 2, "x"])] == ["/0", "/2"]


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        pytest.param([], False, id="too-short"),
        pytest.param([1, 2, 3, 4], False, id="too-long"),
        pytest.param("1,2", False, id="text-in-json"),
        pytest.param(5, False, id="a-number"),
        pytest.param({"0": 1}, False, id="an-object"),
        pytest.param(None, False, id="null"),
        pytest.param("1,2,3,4", True, id="too-long-in-a-query"),
    ],
)
def test_invalid_lists(cell: object, text: bool) -> None:
    (error,) = read_errors(MASSES, cell, text=text)
    assert error.pointer == ""
    assert "1 to 3" in error.accepted


def test_a_list_in_a_query_is_joined_by_commas() -> None:
    column = read_cell(MASSES, "1,2 g, 3", text=True)
    np.testing.assert_allclose(column.values, [[0.001, 0.002, 0.003]], rtol=1e-12)
    assert [error.pointer for error in read_errors(MASSES, "1,,3", text=True)] == ["/1"]


def test_a_list_in_a_query_is_shorter_than_in_json() -> None:
    """URLs are limited in length. The error says how to send a longer list."""
    kind = NumberList(MASS, "Masses.", max_length=500)
    longest = nested.MAX_QUERY_LIST_LENGTH
    assert not read_errors(kind, ",".join(["1"] * longest), text=True)
    (error,) = read_errors(kind, ",".join(["1"] * (longest + 1)), text=True)
    assert "POST" in error.detail
    assert not read_errors(kind, [1] * 500)
    assert read_errors(kind, [1] * 501)


def test_a_table() -> None:
    """Rows with defaults filled in; the uncertainty from a column of its own or from the text."""
    column = read_cell(
        PARTS, [{"mass": 5}, {"name": "x", "mass": "7 ± 1 g", "count": 2}, {"mass": 9, "mass_u": "500 mg"}]
    )
    assert not column.errors
    np.testing.assert_allclose(column.values.mass, [[0.005, 0.007, 0.009]], rtol=1e-12)
    np.testing.assert_allclose(column.values.mass_u, [[0, 0.001, 0.0005]], rtol=1e-12)
    assert column.values.name.tolist() == [["part", "x", "part"]]
    assert column.values.count.tolist() == [[1, 2, 1]]


def test_an_uncertainty_given_twice_counts_as_two_causes() -> None:
    """By hand: 3 g in the text and 4 g in the column are independent causes, sqrt(9 + 16) = 5 g."""
    column = read_cell(PARTS, [{"mass": "100 ± 3 g", "mass_u": 4}, {"mass": "100 ± 3 g"}])
    np.testing.assert_allclose(column.values.mass_u, [[0.005, 0.003]], rtol=1e-12)


@pytest.mark.parametrize(
    ("rows", "pointers"),
    [
        pytest.param([{"mass": 1}, {"mass": 2}, {"mass": 3}, {"mass": True}], ["/3/mass"], id="a-cell"),
        pytest.param([{"mass": 1}, {"name": "x"}], ["/1/mass"], id="a-missing-cell"),
        pytest.param([{"mass": 1, "mas": 2}], ["/0/mas"], id="an-unknown-name"),
        pytest.param([{"mass": 1, "a/b~c": 2}], ["/0/a~1b~0c"], id="an-unknown-name-escaped"),
        pytest.param([{"mass": 1}, 5], ["/1", "/1/mass"], id="a-row-that-is-no-object"),
        pytest.param([{"mass": 1, "mass_u": -1}], ["/0/mass_u"], id="a-negative-uncertainty"),
        pytest.param([{"mass": 1, "count_u": 0.1}], ["/0/count_u"], id="uncertainty-of-a-count"),
        pytest.param(
            [{"mass": "x", "count": 0, "name": ""}],
            ["/0/count", "/0/mass", "/0/name"],
            id="every-error-of-a-row",
        ),
        pytest.param([], [""], id="too-short"),
        pytest.param([{"mass": 1}] * 5, [""], id="too-long"),
        pytest.param("frame", [""], id="a-text"),
        pytest.param(None, [""], id="null"),
    ],
)
def test_a_table_points_at_what_is_wrong(rows: object, pointers: list[str]) -> None:
    actual = sorted(error.pointer for error in read_errors(PARTS, rows))
    if pointers == ["/1", "/1/mass"]:
        assert "/1" in actual  # an error for its missing mass as well does not matter
    else:
        assert actual == pointers


def test_a_close_match_is_suggested() -> None:
    (error,) = read_errors(PARTS, [{"mass": 1, "cout": 2}])
    assert "did you mean count?" in error.detail


def test_a_table_does_not_fit_a_query() -> None:
    (error,) = read_errors(PARTS, '[{"mass": 1}]', text=True)
    assert "POST" in error.detail


@pytest.mark.parametrize(
    ("stated", "kelvin"),
    [
        # By hand: a width of 9 degF is 5 K; a width of 5 degC is 5 K and has no offset.
        pytest.param({"temperature": "77 ± 9 degF"}, 5.0, id="in-the-text-fahrenheit"),
        pytest.param({"temperature": "25 ± 5 degC"}, 5.0, id="in-the-text-celsius"),
        pytest.param({"temperature": 25, "temperature_u": 5}, 5.0, id="column-bare"),
        pytest.param({"temperature": 25, "temperature_u": "5 K"}, 5.0, id="column-kelvin"),
        pytest.param({"temperature": 25, "temperature_u": "5 degC"}, 5.0, id="column-celsius"),
        pytest.param({"temperature": 25, "temperature_u": "9 degF"}, 5.0, id="column-fahrenheit"),
    ],
)
def test_the_width_of_a_temperature_has_no_offset(stated: dict[str, object], kelvin: float) -> None:
    """Not 278 K, which is 5 degC with the offset."""
    column = read_cell(PROBES, [stated])
    assert not column.errors
    assert isinstance(column, TableColumn)
    assert column.uncertainties["temperature"][0, 0] == pytest.approx(kelvin, rel=1e-12)
