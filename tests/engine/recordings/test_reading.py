"""Recordings from bytes: every format, clocks, units, other names, and what is left out is counted."""

from __future__ import annotations

import io
import json
from collections.abc import Mapping
from typing import Any

import numpy as np
import polars as pl
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gramwatt.calculators._shared.logs import Channels
from gramwatt.engine.recordings import columns as recorded_columns
from gramwatt.engine.recordings.channels import parse_recording_object
from gramwatt.engine.recordings.column_types import MalformedRecording, UnusableRecording
from gramwatt.engine.recordings.reader import FORMATS, parse_recording
from gramwatt.model import Recording, TimeSeries

LOG = TimeSeries(Channels, "a recording", max_length=1000)
TIME, VOLTAGE, CURRENT = [0.0, 0.5, 1.25], [16.8, 16.1, 15.9], [2.0, 21.5, 30.25]


def read(raw: bytes, form: str = "csv", wanted: Mapping[str, str] | None = None, decimal: str = ".") -> Recording:
    return parse_recording(LOG, raw, form, wanted, decimal=decimal)


def in_form(form: str, columns: Mapping[str, Any]) -> bytes:
    frame, sink = pl.DataFrame(columns), io.BytesIO()
    match form:
        case "csv":
            frame.write_csv(sink)
        case "ndjson":
            frame.write_ndjson(sink)
        case "json":
            sink.write(json.dumps(columns).encode())
        case _:
            table = frame.to_arrow()
            with pa.ipc.new_stream(sink, table.schema) as writer:
                writer.write_table(table)
    return sink.getvalue()


@pytest.mark.parametrize("form", FORMATS)
def test_every_format_gives_the_same_recording(form: str) -> None:
    raw = in_form(form, {"time": TIME, "voltage [mV]": [1000 * v for v in VOLTAGE], "current": CURRENT, "spare": TIME})
    recording = read(raw, form)
    assert recording.samples.time.tolist() == TIME
    np.testing.assert_allclose(recording.samples.voltage, VOLTAGE, rtol=1e-15)
    assert recording.samples.current.tolist() == CURRENT
    assert np.isnan(recording.samples.throttle).all()
    assert (recording.rows, recording.columns) == (3, ("time", "voltage", "current"))
    assert recording.unused == ("spare",)
    assert recording.unread == ()


@pytest.mark.parametrize("form", ["csv", "ndjson", "json"])
def test_what_cannot_be_read_is_left_out_and_counted(form: str) -> None:
    columns = {"time": [0, 1, 2, 3, 4], "voltage": ["16", "x", "", "nan", "9e3"], "current": [1, 2, None, 4, -5000]}
    recording = read(in_form(form, columns), form)
    np.testing.assert_array_equal(recording.samples.voltage, [16, np.nan, np.nan, np.nan, np.nan])
    np.testing.assert_array_equal(recording.samples.current, [1, 2, np.nan, 4, np.nan])
    unread = {(each.column, each.reason): (each.count, each.first_row, each.first_text) for each in recording.unread}
    assert unread.pop(("current", "out-of-bounds"))[:2] == (1, 5)
    assert unread == {("voltage", "no-number"): (2, 2, "x"), ("voltage", "out-of-bounds"): (1, 5, "9e3")}


CELL = st.sampled_from(["1", "-2.5", "+3e2", " 4 ", "", "nan", "inf", "1e400", "x", "1_0", "0x1", "7 V", "1,5", "٣"])


@given(
    st.lists(st.lists(CELL, min_size=2, max_size=2), max_size=6),
    st.sampled_from([".", ","]),
    st.booleans(),
    st.booleans(),
)
def test_numbers_are_read_alike_with_and_without_pyarrow(
    rows: list[list[str]], decimal: str, quoted: bool, blank: bool
) -> None:
    """Cells that both take, and such as only one of them would, a short row and a blank line among them."""
    lines = [";".join(f'"{cell}"' if quoted else cell for cell in row) for row in rows]
    raw = "\r\n".join(["time;voltage", "0;16", *lines, *(["", "5"] if blank else [])]).encode()
    with_it = read(raw, decimal=decimal)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(recorded_columns, "is_installed", lambda library: False)
        without = read(raw, decimal=decimal)
    for channel in ("time", "voltage"):
        np.testing.assert_array_equal(getattr(with_it.samples, channel), getattr(without.samples, channel))
    assert with_it.rows == without.rows

    def counted(recording: Recording) -> list[tuple[str, str, int, int]]:
        return [(each.column, each.reason, each.count, each.first_row) for each in recording.unread]

    assert counted(with_it) == counted(without)


def test_an_unclosed_quote_is_reported() -> None:
    with pytest.raises(MalformedRecording, match="it cannot be read as CSV"):
        read(b'time,voltage\n1,16\n2,"15\n3,14\n')


@pytest.mark.parametrize(
    ("texts", "seconds"),
    [
        pytest.param(["0:00.5", "1:02.25"], [0.5, 62.25], id="minutes and seconds"),
        pytest.param(["12:00:00", "12:00:01,5"], [43200, 43201.5], id="a decimal comma"),
        pytest.param(["23:59:59.5", "00:00:00.5", "00:00:01"], [86399.5, 86400.5, 86401], id="past midnight"),
        pytest.param(["10:00:02", "10:00:01"], [36002, 36001], id="a step back is no midnight"),
        pytest.param(["1970-01-02T00:00:01Z", "1970-01-02 01:00:02+01:00"], [86401, 86402], id="dates and zones"),
        pytest.param(["1970-01-01T00:00:00-0030", "x"], [1800, np.nan], id="west of Greenwich, and none"),
        pytest.param(["02.01.1970 00:00:01", "2.1.1970, 00:01"], [86401, 86460], id="the day first"),
        pytest.param(["1970/1/2 00:00:01", "1970/01/03 00:00"], [86401, 172800], id="slashes"),
        pytest.param(["11:59:59 PM", "12:00:01 am", "12:30 a.m."], [86399, 86401, 88200], id="noon and midnight"),
        pytest.param(["2:30 PM", "2:31PM"], [52200, 52260], id="hours and minutes"),
        pytest.param(["1:00", "13:00 PM", "0:10 AM", "2:30.5 PM"], [60, *[np.nan] * 3], id="no such hours"),
        pytest.param(["2:30\u202fPM", "2:30:01\u00a0pm"], [52200, 52201], id="spaces that do not break a line"),
        pytest.param(
            ["2026-05-03 14:00:00+02", "2026-05-03 12:00:00 UTC", "2026-05-03T06:30-05:30"],
            [1_777_809_600.0] * 3,
            id="hours of a zone alone",
        ),
        pytest.param(
            ["01.01.1970 00:00:01", "31.02.1970 00:00:01", "1970/01-02 00:00:01"], [1, *[np.nan] * 2], id="no such days"
        ),
    ],
)
def test_clock_times(texts: list[str], seconds: list[float]) -> None:
    assert parse_recording_object(LOG, {"time": texts}).samples.time == pytest.approx(seconds, nan_ok=True)


@pytest.mark.parametrize("unit", ["ms", "us", "µs", "min", "h"])
def test_times_in_other_units(unit: str) -> None:
    scale = {"ms": 1e-3, "us": 1e-6, "µs": 1e-6, "min": 60, "h": 3600}[unit]
    recording = read(f"time [{unit}],voltage\n0,16\n250,15\n".encode())
    np.testing.assert_allclose(recording.samples.time, [0, 250 * scale], rtol=1e-14)


@pytest.mark.parametrize("line", ["ms,mV,milliampere", "(ms),(mV),(mA)", "[ms], [mV],mA"])
def test_units_in_the_line_below_the_header(line: str) -> None:
    recording = read(f"time,voltage,current\n{line}\n0,16000,500\n20,15900,700\n".encode())
    samples = recording.samples
    np.testing.assert_allclose(
        [*samples.time, *samples.voltage, *samples.current],
        [np.nan, 0, 0.02, np.nan, 16, 15.9, np.nan, 0.5, 0.7],
        rtol=1e-14,
    )
    assert not recording.unread


def test_a_unit_in_the_header_is_not_replaced_by_the_line_below() -> None:
    recording = read(b"time,current [A]\n,mA\n0,5\n")
    assert recording.samples.current[1] == 5
    assert [each.first_text for each in recording.unread] == ["mA"]


def test_columns_may_have_other_names() -> None:
    raw = b"t (ms),pack volts,I [mA],volts2\n0,16000,500,3\n20,15900,700,4\n"
    wanted = {"time": "t (ms) [ms]", "voltage": "Pack Volts [mV]", "current": "I"}
    recording = read(raw, wanted=wanted)
    np.testing.assert_allclose(recording.samples.time, [0, 0.02])
    np.testing.assert_allclose(recording.samples.voltage, [16, 15.9])
    np.testing.assert_allclose(recording.samples.current, [0.5, 0.7])
    assert recording.unused == ("volts2",)


@pytest.mark.parametrize(
    ("header", "column", "amperes"),
    [
        ("current (mA)", None, 0.5),
        ("current (mA)", "current (mA)", 0.5),
        ("Current (ma)", "current (ma) [mA]", 0.5),
        ("current (mA)", "current [A]", 500),
        ("current (battery)", "current (battery) [mA]", 0.5),
        ("current (battery) [mA]", "current (battery)", 0.5),
        ("I_mA", "I_mA", 0.5),
        ("I mA", "I mA", 0.5),
        ("I_mA", "I_mA [A]", 500),
        ("motor_a", "motor_a", 500),
    ],
)
def test_no_unit_is_ignored(header: str, column: str | None, amperes: float) -> None:
    """The unit in the option counts, then that in the header."""
    recording = read(f"time,{header}\n0,500\n1,500\n".encode(), wanted={"current": column} if column else {})
    assert recording.samples.current.tolist() == pytest.approx([amperes] * 2)


@pytest.mark.parametrize(
    "raw",
    [
        pytest.param(b"made by hand\nwith, commas\n\ntime,voltage\n1,16\n2,15\n", id="lines before the header"),
        pytest.param(b"\xef\xbb\xbftime;voltage\r\n1;16\r\n2;15\r\n", id="byte-order mark, semicolons, CRLF"),
        pytest.param(b"TIME\tVoltage [V]\textra\n1\t16\t\n2\t15\n", id="tabs, capitals, a short row"),
        pytest.param(b"by\rhand\ntime,voltage\n1,16\n2,15\n", id="a carriage return before the header"),
        pytest.param(b'"time","voltage"\n"1","16"\n"2","15"\n', id="quotes"),
        pytest.param(b"time,voltage\r1,16\r2,15\r", id="carriage returns alone"),
        pytest.param(b"voltage,note,time\n16,caf\xe9,1\n15,x,2", id="another column is no UTF-8; no last line end"),
        pytest.param(b"time (s),Voltage (mV)\n1,16000\n2,15000\n", id="units in parentheses"),
        pytest.param(b"time (UTC),voltage [ Millivolts ]\n0:01,16000\n0:02,15000\n", id="a clock, and a unit in words"),
    ],
)
def test_many_a_csv(raw: bytes) -> None:
    recording = read(raw)
    assert recording.samples.time.tolist() == [1, 2]
    assert recording.samples.voltage.tolist() == [16, 15]


def test_a_decimal_comma() -> None:
    recording = read(b"time;voltage;current\n0,5;16,25;x\n1;16;3,5\n", decimal=",")
    assert recording.samples.voltage.tolist() == [16.25, 16]
    np.testing.assert_array_equal(recording.samples.current, [np.nan, 3.5])


def test_ndjson_lines_that_are_no_objects_count_as_rows() -> None:
    recording = read(b'{"time": 0, "voltage": 16}\nbroken\n{"time": 1, "voltage": NaN}\n[2]\n', "ndjson")
    np.testing.assert_array_equal(recording.samples.time, [0, np.nan, 1, np.nan])
    assert recording.rows == 4


def test_a_line_that_is_nested_too_deeply_is_none_either() -> None:
    assert read(b'{"time": 0}\n' + b"[" * 100_000 + b"\n", "ndjson").rows == 2


@pytest.mark.parametrize("times", [[10**320, 1], [10**320, None, 1]])
def test_a_number_beyond_a_double_is_reported(times: list[int | None]) -> None:
    (unread,) = parse_recording_object(LOG, {"time": times}).unread
    assert (unread.reason, unread.count, unread.first_text[:3]) == ("no-number", 1, "100")


def test_an_arrow_file_is_read_as_a_stream_is() -> None:
    table, sink = pa.table({"time": TIME, "voltage": VOLTAGE}), io.BytesIO()
    with pa.ipc.new_file(sink, table.schema) as writer:
        writer.write_table(table)
    assert read(sink.getvalue(), "arrow").samples.voltage.tolist() == VOLTAGE


def test_columns_of_unequal_length_are_an_error() -> None:
    """It is unknown which of their values belong together."""
    with pytest.raises(UnusableRecording) as exc_info:
        parse_recording_object(LOG, {"time": [0, 1, 2], "voltage": [16.0], "a/b": []})
    assert [(error.pointer, error.detail) for error in exc_info.value.errors] == [
        ("/voltage", "a list of 1, while time has 3"),
        ("/a~1b", "a list of 0, while time has 3"),
    ]


def test_arrays_of_the_librarys_callers() -> None:
    recording = parse_recording_object(
        LOG, {"time": np.arange(3, dtype=np.int32), "voltage": np.array([16, np.nan, 15])}
    )
    np.testing.assert_array_equal(recording.samples.voltage, [16, np.nan, 15])
    assert recording.unread[0].count == 1


def test_times_of_arrow() -> None:
    stamps = pa.array([1_000, 3_500], pa.timestamp("ms"))
    table = pa.table({"time": stamps, "voltage": pa.array([16, 15], pa.int16())})
    sink = io.BytesIO()
    with pa.ipc.new_stream(sink, table.schema) as writer:
        writer.write_table(table)
    assert read(sink.getvalue(), "arrow").samples.time.tolist() == [1, 3.5]


@pytest.mark.parametrize(
    ("raw", "wanted", "pointer", "words"),
    [
        pytest.param(b"t,volts\n1,2\n", {}, "/time", "time_column", id="no time"),
        pytest.param(b"time,volts\n1,2\n", {"voltage": "volt"}, "/voltage_column", "'volts'", id="a misspelt column"),
        pytest.param(b"time,voltage [kV]\n1,2\n", {}, "/voltage", "not one of V, mV", id="an unknown unit"),
        pytest.param(b"time,voltage (A)\n1,2\n", {}, "/voltage", "not one of V, mV", id="a unit of something else"),
        pytest.param(b"time,current (battery)\n1,2\n", {}, "/current", "current_column=current (battery) [A]",
                     id="no unit in parentheses"),
        pytest.param(b"time,current (x)\n1,2\n", {"current": "current (x)"}, "/current_column", "not one of A, mA",
                     id="nor in the option"),
        pytest.param(b"flight, of today\nby me\n\nSeconds,Volts,Amps\n1,2,3\n", {}, "/time", "Seconds, Volts, Amps",
                     id="lines before the header"),
        pytest.param(b"time,volts\n5/3/2026 14:30,2\n", {}, "/time", "03.05.2026 14:30:00", id="month or day first?"),
        pytest.param(b"time,volts\nx,2\n,3\n", {}, "/time", "columns are time, volts", id="times of another form"),
        pytest.param(b"time,voltage,voltage [mV]\n1,2,3\n", {"voltage": "voltage [V]"}, "/voltage_column", "several",
                     id="two of one name"),
        pytest.param(b"time,v\n1,2\n", {"voltage": "v", "current": "v"}, "/current_column", "both", id="one for two"),
    ],
)  # fmt: skip
def test_an_error_names_the_columns(raw: bytes, wanted: dict[str, str], pointer: str, words: str) -> None:
    with pytest.raises(UnusableRecording) as exc_info:
        read(raw, wanted=wanted)
    (error,) = exc_info.value.errors
    assert error.pointer == pointer
    assert words in f"{error.detail} {error.accepted}"


@pytest.mark.parametrize(
    ("form", "raw"),
    [
        pytest.param("csv", b"", id="empty CSV"),
        pytest.param("csv", "time,voltage\n1,2\n".encode("utf-16"), id="UTF-16"),
        pytest.param("csv", b"x" * 1_000_000 + b"\ntime,voltage\n1,2\n", id="a line without end"),
        pytest.param("csv", b"\n" * 1000, id="blank lines"),
        pytest.param("json", b'{"time": [1], "time": [2]}', id="a name twice"),
        pytest.param("ndjson", b"nothing here\n", id="no NDJSON"),
        pytest.param("arrow", b"time,voltage\n1,2\n", id="no Arrow"),
    ],
)
def test_bytes_that_are_no_recording(form: str, raw: bytes) -> None:
    with pytest.raises(MalformedRecording):
        read(raw, form)


@pytest.mark.parametrize(
    ("columns", "pointer"),
    [
        pytest.param({"time": 5}, "/time", id="no list"),
        pytest.param({"time": [1, True]}, "/time/1", id="a truth"),
        pytest.param({"time": [1], "current": [[1]]}, "/current/0", id="a list in a list"),
        pytest.param({"time": [0.0] * 1001}, "/time", id="too long"),
    ],
)
def test_json_that_is_no_recording(columns: dict[str, Any], pointer: str) -> None:
    with pytest.raises(UnusableRecording) as exc_info:
        parse_recording_object(LOG, columns)
    assert exc_info.value.errors[0].pointer == pointer


def test_a_csv_too_long_says_how_long_one_may_be() -> None:
    with pytest.raises(UnusableRecording, match="1001 samples"):
        read(b"time\n" + b"1\n" * 1001)
