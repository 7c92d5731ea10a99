"""``gramwatt sweep``: inputs varied over a grid of any size; all of its points, or the best of them."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Final, NoReturn

import click

from gramwatt.cli.messages import fail, parse_assignments
from gramwatt.cli.options import (
    Progress,
    RunSummary,
    TableOptions,
    clean_up_on_signal,
    fail_with_errors,
    make_plan_or_fail,
    make_style,
    table_options,
)
from gramwatt.cli.partitioned import (
    check_options,
    choose_format_and_folder,
    describe_run,
    is_folder,
    open_workers,
    partition_option,
    run_partitioned,
)

if TYPE_CHECKING:
    from gramwatt.engine.tables.chunks import Chunk
    from gramwatt.engine.tables.compute import Plan
    from gramwatt.engine.tables.ranking import BestRows
    from gramwatt.engine.tables.sweep import Axis
    from gramwatt.engine.tables.writers import Style
    from gramwatt.files.output import Output
    from gramwatt.model import Calculator
    from gramwatt.model.messages import InputError
    from gramwatt.partitions.sources import Grid

MAX_POINTS: Final = 10**15
_RANGE: Final = re.compile(r"([^:]*):([^:]*):([^:]*)")


@click.command("sweep")
@click.argument("name", metavar="CALCULATOR")
@click.argument("inputs", nargs=-1, metavar="[NAME=VALUE]...")
@click.option(
    "--vary",
    metavar="NAME=FROM:TO:COUNT",
    multiple=True,
    required=True,
    help="An input to vary evenly, or over a list: cells=3,4,6. Once for each input; the last varies fastest.",
)
@click.option("--best", type=click.IntRange(1, 100_000), help="Only so many points: the best by a result, best first.")
@click.option("--by", metavar="RESULT", help="The result that --best ranks by; else the calculator's first.")
@click.option("--least", is_flag=True, help="The least of that result is best.")
@table_options
def sweep(name: str, inputs: tuple[str, ...], vary: tuple[str, ...], **more: Any) -> None:
    """Vary inputs over a grid: gramwatt sweep pack-current --vary power=10:400:40 cells=6 capacity=1300.

    A grid may have any size: its points are answered and written in pieces, and with --best only the best are held.
    Ends with 0 if every point was answered, 1 if some had faults (such as a value out of bounds), 2 if nothing could
    be done; OUT is replaced only when it is complete. --jobs, --scheduler and a folder for -o are as in batch.
    """
    from gramwatt.engine.tables import ranking
    from gramwatt.engine.tables.sweep import count_points, show_axes
    from gramwatt.files.formats import choose_output_format
    from gramwatt.files.output import Output
    from gramwatt.partitions.runner import find_best_points
    from gramwatt.partitions.sources import Grid
    from gramwatt.partitions.workers import WorkersError, stop_processes

    check_options(more, ranked=bool(more["best"]))
    wishes = TableOptions(**{key: more[key] for key in TableOptions.__dataclass_fields__})
    constants = parse_assignments(inputs)
    plan, errors = make_plan_or_fail(name, constants, wishes)
    axes = parse_axes(plan.calculator, vary, constants, errors)
    by = more["by"] or plan.calculator.headline
    if more["best"]:
        errors += ranking.check_ranking(plan.calculator, by)
    elif more["by"] or more["least"]:
        fail("--by and --least rank the points for --best: give a number with it")
    style = make_style(wishes)
    if errors:
        fail_with_errors(errors)
    plan = show_axes(plan, axes)
    wish = ranking.Ranking(more["best"], by, more["least"]) if more["best"] else None
    if wish is None and partition_option(more) is not None:
        _by_parts(plan, Grid(axes), wishes, constants, vary, more)
    ending, where = RunSummary(), "standard output" if more["out"] in (None, "-") else more["out"]
    with clean_up_on_signal() as undo, contextlib.ExitStack() as held:
        try:
            output = held.enter_context(Output(more["out"]))
            undo += [output.discard, stop_processes]
            progress = Progress(more["progress"] and not output.on_terminal, count_points(axes), name)
            held.callback(progress.close)
            to = choose_output_format(more["to"], more["out"], "csv")
            if wish is None:
                ending = _all(plan, axes, to, style, output, progress)
            else:
                workers = held.enter_context(open_workers(more))
                found, invalid = find_best_points(
                    workers, plan, Grid(axes), wish, more["rows_per_part"], progress.advance
                )
                _write_best(plan, found, to, style, output)
                ending = RunSummary(count_points(axes), invalid, what="point")
            progress.close()
            output.keep()
        except WorkersError as error:
            fail(str(error))
        except BrokenPipeError:
            raise
        except OSError as error:
            fail(f"{error.filename or where}: {error.strerror or error}")
    ending.report(where if wish is None else f"the best {wish.count:,} by {wish.by} in {where}")


def _all(plan: Plan, axes: tuple[Axis, ...], to: str, style: Style, output: Output, progress: Progress) -> RunSummary:
    from gramwatt.engine.tables.batch import RowCounts, write_table
    from gramwatt.engine.tables.sweep import read_grid
    from gramwatt.files.output import make_table_writer, save_output

    writer, counts = make_table_writer(plan, to, style), RowCounts()
    save_output(write_table(plan, _watched(read_grid(axes, text=True), progress), writer, counts), to, output)
    return RunSummary(counts.rows, counts.invalid, what="point")


def _write_best(plan: Plan, best: BestRows, to: str, style: Style, output: Output) -> None:
    from gramwatt.engine.tables.ranking import to_batch_result
    from gramwatt.files.output import make_table_writer, save_output

    writer, found = make_table_writer(plan, to, style), to_batch_result(best)
    head = writer.begin(found)
    save_output(iter([head, writer.write_rows(found) if found.rows else b"", writer.end()]), to, output)


def _by_parts(
    plan: Plan, grid: Grid, wishes: TableOptions, constants: dict[str, str], vary: tuple[str, ...], more: dict[str, Any]
) -> NoReturn:
    from gramwatt.partitions.job import Job
    from gramwatt.partitions.join import part_form
    from gramwatt.partitions.split import rows_per_part, split_grid

    rows = more["rows_per_part"] or rows_per_part(plan)
    form, folder = choose_format_and_folder(more, "csv")
    job = Job(plan, grid, str(folder), form if is_folder(more["out"]) else part_form(form), make_style(wishes))
    run = {
        "calculator": plan.calculator_name,
        "inputs": constants,
        "--vary": list(vary),
        **describe_run(more, wishes, form, rows),
    }
    run_partitioned(job, form, run, lambda: split_grid(grid, rows), more, "point")


def _watched(pieces: Iterator[Chunk], progress: Progress) -> Iterator[Chunk]:
    for chunk in pieces:
        yield chunk
        progress.advance(chunk.rows)


def parse_axes(
    calculator: Calculator[Any, Any], vary: tuple[str, ...], constants: dict[str, str], errors: list[InputError]
) -> tuple[Axis, ...]:
    """What is varied; what is wrong with it, and which inputs are missing, is added to the faults."""
    from gramwatt.engine.tables.header import Passthrough, parse_header
    from gramwatt.engine.tables.sweep import count_points, make_list_axis
    from gramwatt.model.messages import InputError, quote_input

    axes: list[Axis] = []
    varied = parse_assignments(vary)
    for name, told in varied.items():
        if name in constants:
            errors.append(
                InputError(f"/{name}", f"{name} is given and varied", quote_input(constants[name]), "one of the two")
            )
        ends = _RANGE.fullmatch(told)
        axis, found = (
            _even(calculator, name, *ends.groups()) if ends else make_list_axis(calculator, name, told.split(","))
        )
        errors += found
        axes += [axis] if axis is not None else []
    if len(axes) == len(varied):
        given = {name: cell for name, cell in constants.items() if name not in varied}
        errors += parse_header(calculator, list(varied), Passthrough(), given)[1]
    if count_points(axes) > MAX_POINTS:
        errors.append(InputError("/vary", f"{count_points(axes):,} points", None, f"up to {MAX_POINTS:,} points"))
    return tuple(axes)


def _even(
    calculator: Calculator[Any, Any], name: str, start: str, stop: str, count: str
) -> tuple[Axis | None, list[InputError]]:
    from gramwatt.engine.tables.sweep import make_even_axis
    from gramwatt.model.messages import InputError, quote_input

    points = int(count) if count.isascii() and count.isdigit() and len(count) < 16 else 0
    if points < 2:
        detail = f"{name}: not a number of points"
        return None, [InputError(f"/{name}", detail, quote_input(count), f"{name}=from:to:count with 2 points or more")]
    return make_even_axis(calculator, name, start, stop, points, text=True)
