"""The question that several commands ask: inputs as words or as JSON, recordings from files."""

from __future__ import annotations

from collections.abc import Sequence
from typing import IO, Any

from gramwatt.cli.messages import fail, parse_assignments
from gramwatt.model import Calculator


def read_inputs(
    calculator: Calculator[Any, Any],
    inputs: Sequence[str],
    body: IO[bytes] | None,
    logs: Sequence[IO[bytes]],
    columns: Sequence[str],
) -> tuple[dict[str, object], bool]:
    """The question, and whether its values are words. Ends the command where there is none."""
    question: dict[str, object] = dict(parse_assignments(inputs)) if body is None else _from_body(body, inputs)
    if not logs:
        return question, body is None
    if body is not None:
        fail("give the recordings in --body or by --log, not both")
    from gramwatt.cli.recordings import add_recordings  # which brings libraries that nothing else here needs

    return add_recordings(calculator, question, logs, parse_assignments(columns))


def _from_body(body: IO[bytes], inputs: Sequence[str]) -> dict[str, object]:
    if inputs:
        fail("give the inputs as words or in --body, not both")
    from gramwatt.engine.strict_json import InvalidJson, parse_strict_json

    try:
        value = parse_strict_json(body.read())
    except InvalidJson as error:
        fail(f"--body: {error}")
    if not isinstance(value, dict):
        fail("--body: the question must be a JSON object")
    return value
