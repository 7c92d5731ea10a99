"""Inputs on the command line: ``name=value`` arguments, a JSON file, recordings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import IO, Any, Final

import click

from gramwatt.cli.craft import add_craft
from gramwatt.cli.errors import fail
from gramwatt.model import Calculator

recording_decimal_option: Final = click.option(
    "--recording-decimal",
    type=click.Choice([".", ","]),
    default=".",
    help="Decimal sign of the numbers in the recording.  [default: .]",
)


def parse_assignments(arguments: Iterable[str]) -> dict[str, str]:
    """Return ``name=value`` arguments as a mapping. Exit if one is malformed or repeated."""
    values: dict[str, str] = {}
    for argument in arguments:
        name, equals, value = argument.partition("=")
        if not equals or name in values:
            fail(f"{argument!r}: write each input once, as name=value")
        values[name] = value
    return values


def parse_units(units: str) -> dict[str, str]:
    """Return ``usable_energy:kJ,current:mA`` as a mapping. Exit if it is malformed."""
    pairs = [pair.partition(":") for pair in units.split(",")] if units else []
    chosen = {name: spelling for name, _, spelling in pairs}
    if len(chosen) < len(pairs) or not all(colon for _, colon, _ in pairs):
        fail(f"--units {units[:200]}: write result:unit pairs separated by commas, each result once")
    return chosen


def read_inputs(
    calculator: Calculator[Any, Any],
    arguments: Sequence[str],
    body: IO[bytes] | None,
    logs: Sequence[IO[bytes]],
    columns: Sequence[str],
    recording_decimal: str = ".",
) -> tuple[dict[str, object], bool]:
    """Return the inputs, and whether their values are text rather than JSON values. Exit if they are malformed."""
    if body is not None and arguments and not logs:
        fail("give the inputs as arguments or in --body, not both")
    assigned = parse_assignments(arguments)
    values: dict[str, object] = add_craft(dict(assigned) if body is None else _read_body(body))
    if not logs:
        if columns or recording_decimal != ".":
            fail("--column and --recording-decimal are for a recording; add --log")
        return values, body is None
    # This imports libraries that nothing else here needs.
    from gramwatt.cli.recordings import RecordingOptions, add_recordings

    flight = None if body is None else assigned
    reading = RecordingOptions(parse_assignments(columns), recording_decimal)
    return add_recordings(calculator, values, logs, reading, text=body is None, flight=flight)


def _read_body(body: IO[bytes]) -> dict[str, object]:
    from gramwatt.engine.strict_json import InvalidJson, parse_strict_json

    try:
        values = parse_strict_json(body.read())
    except InvalidJson as error:
        fail(f"--body: {error}")
    if not isinstance(values, dict):
        fail("--body: the inputs must be a JSON object")
    return values
