"""``gramwatt sweep``: compute a grid of any size; write all points, or only the best."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Final, NoReturn

import click

from gramwatt.cli.completion import complete_calculators, complete_inputs, complete_results
from gramwatt.cli.craft import add_craft_text, craft_option
from gramwatt.cli.errors import fail, fail_with_errors
from gramwatt.cli.inputs import parse_assignments
from gramwatt.cli.options import TableOptions, check_style, make_plan_or_fail, make_style, table_options
from gramwatt.cli.partitioned import (
    check_options,
    choose_format_and_folder,
    describe_run,
    is_folder,
    open_workers,
    partition_option,
    run_partitioned,
)
from gramwatt.cli.progress import Progress, RunSummary, clean_up_on_signal

if TYPE_CHECKING:
    from gramwatt.engine.tables.chunks import Chunk
    from gramwatt.engine.tables.plan import Plan
    from gramwatt.engine.tables.ranking import BestRows, Ranking
    from gramwatt.engine.tables.sweep import Axis
    from gramwatt.engine.tables.writers import Style
    from gramwatt.files.output import Output
    from gramwatt.model import Calculator
    from gramwatt.model.messages import InputError
    from gramwatt.partitions.sources import Grid

MAX_GRID_POINTS: Final = 10**15
_RANGE: Final = re.compile(r"([^:]*):([^:]*):([^:]*)")

_EXAMPLES: Final = """\b
Examples:
  gramwatt sweep pack-current --vary pack_power=10:400:40 cells=6 capacity=1300
  gramwatt sweep pack-current --vary cells=3,4,6 --vary pack_power=10:400:40 capacity=1300 --best 5
"""


@click.command("sweep", epilog=_EXAMPLES)
@click.argument("name", metavar="CALCULATOR", shell_complete=complete_calculators)
@click.argument("inputs", nargs=-1, metavar="[NAME=VALUE]...", shell_complete=complete_inputs)
@click.option(
    "--vary",
    metavar="NAME=FROM:TO:COUNT",
    shell_complete=complete_inputs,
    multiple=True,
    required=True,
    help="Input to vary, over a range or a list: cells=3,4,6. Repeatable; the last varies fastest.",
)
@click.option("--best", type=click.IntRange(1, 100_000), help="Write only this many points, the best first.")
@click.option(
    "--by",
    metavar="RESULT",
    shell_complete=complete_results,
    help="Result that --best ranks by.  [default: the first of the calculator]",
)
@click.option("--ascending", is_flag=True, help="Rank the smallest value first.")
@craft_option
@table_options
def sweep(
    name: str,
    inputs: tuple[str, ...],
    vary: tuple[str, ...],
    best: int | None,
    by: str | None,
    ascending: bool,
    options: TableOptions,
) -> None:
    """Vary inputs over a grid.

    The grid may have any size. The options --jobs, --scheduler and a folder for -o work as in "gramwatt batch".

    OUT is replaced only when it is complete. Exit status: 0 if all points were computed, 1 if some were invalid (such
    as a value out of bounds), 2 if nothing was computed.
    """
    from gramwatt.engine.tables import ranking
    from gramwatt.engine.tables.sweep import show_axes
    from gramwatt.partitions.sources import Grid

    check_options(options, ranked=bool(best))
    constants = add_craft_text(parse_assignments(inputs))
    plan, errors = make_plan_or_fail(name, constants, options, own=parse_assignments(vary).keys())
    axes = parse_axes(plan.calculator, vary, constants, errors)
    rank_by = by or plan.calculator.headline
    if best:
        errors += ranking.check_ranking(plan.calculator, rank_by)
    elif by or ascending:
        fail("--by and --ascending need --best and a number of points")
    make_style(options)
    if errors:
        fail_with_errors(errors)
    plan, grid = show_axes(plan, axes), Grid(axes)
    if best:
        _write(plan, grid, ranking.Ranking(best, rank_by, ascending), options)
    elif partition_option(options) is not None:
        _compute_in_parts(plan, grid, constants, vary, options)
    else:
        _write(plan, grid, None, options)


def _write(plan: Plan, grid: Grid, ranking: Ranking | None, options: TableOptions) -> NoReturn:
    """Compute all points, write them or the best of them, and exit."""
    from gramwatt.engine.tables.sweep import count_points
    from gramwatt.files.formats import choose_output_format
    from gramwatt.files.output import Output
    from gramwatt.partitions.workers import WorkersError, stop_processes

    with clean_up_on_signal() as clean_up, contextlib.ExitStack() as stack:
        try:
            output = stack.enter_context(Output(options.out))
            clean_up += [output.discard, stop_processes]
            total = count_points(grid.axes)
            progress = Progress(options.progress and not output.is_terminal, total, plan.calculator_name)
            stack.callback(progress.close)
            to = choose_output_format(options.to, options.out, "csv")
            check_style(options, to)
            if ranking is None:
                summary = _write_all(plan, grid, to, make_style(options), output, progress)
            else:
                summary = _write_best(plan, grid, ranking, to, options, output, progress)
            progress.close()
            output.commit()
        except WorkersError as error:
            fail(str(error))
        except BrokenPipeError:
            raise
        except OSError as error:
            fail(f"{error.filename or options.out or 'standard output'}: {error.strerror or error}")
    where = "standard output" if options.out in (None, "-") else str(options.out)
    summary.report(where if ranking is None else f"the best {ranking.count:,} by {ranking.by} in {where}")


def _write_all(plan: Plan, grid: Grid, to: str, style: Style, output: Output, progress: Progress) -> RunSummary:
    from gramwatt.engine.tables.batch import RowCounts, write_table
    from gramwatt.engine.tables.sweep import read_grid
    from gramwatt.files.output import make_table_writer, save_output

    writer, counts = make_table_writer(plan, to, style), RowCounts()
    chunks = _advance(read_grid(grid.axes, text=True), progress)
    save_output(write_table(plan, chunks, writer, counts), to, output)
    return RunSummary(counts.rows, counts.invalid, noun="point")


def _write_best(
    plan: Plan, grid: Grid, ranking: Ranking, to: str, options: TableOptions, output: Output, progress: Progress
) -> RunSummary:
    from gramwatt.engine.tables.sweep import count_points
    from gramwatt.partitions.runner import find_best_points

    with open_workers(options.jobs, options.scheduler) as workers:
        best, invalid = find_best_points(workers, plan, grid, ranking, options.rows_per_part, progress.advance)
        _save_best(plan, best, to, make_style(options), output)
    return RunSummary(count_points(grid.axes), invalid, noun="point")


def _save_best(plan: Plan, best: BestRows, to: str, style: Style, output: Output) -> None:
    from gramwatt.engine.tables.ranking import to_batch_result
    from gramwatt.files.output import make_table_writer, save_output

    writer, result = make_table_writer(plan, to, style), to_batch_result(best)
    head = writer.begin(result)
    save_output(iter([head, writer.write_rows(result) if result.rows else b"", writer.end()]), to, output)


def _compute_in_parts(
    plan: Plan, grid: Grid, constants: dict[str, str], vary: tuple[str, ...], options: TableOptions
) -> NoReturn:
    from gramwatt.partitions.job import Job
    from gramwatt.partitions.join import choose_part_format
    from gramwatt.partitions.split import rows_per_part, split_grid

    rows = options.rows_per_part or rows_per_part(plan)
    to, folder = choose_format_and_folder(options, "csv")
    check_style(options, to)
    part_format = to if is_folder(options.out) else choose_part_format(to)
    job = Job(plan, grid, str(folder), part_format, make_style(options))
    settings: dict[str, Any] = {
        "calculator": plan.calculator_name,
        "inputs": constants,
        "--vary": list(vary),
        **describe_run(options, to, rows),
    }
    run_partitioned(job, to, settings, lambda: split_grid(grid, rows), options, "point")


def _advance(chunks: Iterator[Chunk], progress: Progress) -> Iterator[Chunk]:
    for chunk in chunks:
        yield chunk
        progress.advance(chunk.rows)


def parse_axes(
    calculator: Calculator[Any, Any], vary: tuple[str, ...], constants: dict[str, str], errors: list[InputError]
) -> tuple[Axis, ...]:
    """Return the axes of a grid. Append errors in them, and missing inputs, to ``errors``."""
    from gramwatt.engine.tables.header import Passthrough, parse_header
    from gramwatt.engine.tables.sweep import count_points, make_list_axis
    from gramwatt.model.messages import InputError, quote_input

    axes: list[Axis] = []
    varied = parse_assignments(vary)
    for name, points in varied.items():
        if name in constants:
            detail = f"{name} is both given and varied"
            errors.append(InputError(f"/{name}", detail, quote_input(constants[name]), "one of the two"))
        limits = _RANGE.fullmatch(points)
        if limits:
            axis, axis_errors = _parse_range(calculator, name, *limits.groups())
        else:
            axis, axis_errors = make_list_axis(calculator, name, points.split(","))
        errors += axis_errors
        axes += [axis] if axis is not None else []
    if len(axes) == len(varied):
        other_inputs = {name: value for name, value in constants.items() if name not in varied}
        found = parse_header(calculator, list(varied), Passthrough(), other_inputs)[1]
        errors += [error for error in found if error not in errors]  # those of a craft were found before
    if count_points(axes) > MAX_GRID_POINTS:
        errors.append(InputError("/vary", f"{count_points(axes):,} points", None, f"up to {MAX_GRID_POINTS:,} points"))
    return tuple(axes)


def _parse_range(
    calculator: Calculator[Any, Any], name: str, start: str, stop: str, count: str
) -> tuple[Axis | None, list[InputError]]:
    from gramwatt.engine.tables.sweep import make_even_axis
    from gramwatt.model.messages import InputError, quote_input

    points = int(count) if count.isascii() and count.isdigit() and len(count) < 16 else 0
    if points < 2:
        detail = f"{name}: not a number of points"
        return None, [InputError(f"/{name}", detail, quote_input(count), f"{name}=from:to:count with 2 points or more")]
    return make_even_axis(calculator, name, start, stop, points, text=True)
