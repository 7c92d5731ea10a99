"""``gramwatt batch``: a table of questions answered, here, by a running service, or by parts on many processes."""

from __future__ import annotations

import contextlib
import functools
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from gramwatt.cli.messages import fail, parse_assignments
from gramwatt.cli.options import (
    FORMATS,
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
    partition_option,
    run_partitioned,
)

if TYPE_CHECKING:
    from gramwatt.engine.tables.compute import Plan
    from gramwatt.engine.tables.header import Passthrough
    from gramwatt.engine.tables.writers import Style
    from gramwatt.files.formats import InputTable
    from gramwatt.files.output import Output


@click.command("batch")
@click.argument("name", metavar="CALCULATOR")
@click.argument("table")
@click.option("--from", "read_as", type=click.Choice(FORMATS), help="Format of TABLE; else as its name says.")
@click.option("--set", "constants", metavar="NAME=VALUE", multiple=True, help="An input that every row shares.")
@click.option("--keep", default="", metavar="A,B|*", help="Columns that are no inputs and pass through.")
@click.option("--url", metavar="URL", help="Let a running service answer: http://host:8000.")
@table_options
def batch(name: str, table: str, **more: Any) -> None:
    """Answer a table of questions, row by row in order: gramwatt batch pack-current packs.csv -o amps.csv.

    TABLE is CSV, TSV, NDJSON, a JSON array, an Arrow IPC stream or file, or Parquet; - is standard input. A column is
    an input by its name, with a unit in brackets if you like: capacity [Ah]. Columns named id, name and note pass
    through. A row with a fault says so in its last column; the others are answered. Tables of any length, in
    bounded memory. Ends with 0 if every row was answered, 1 if some had faults or the table broke off,
    2 if nothing could be done; OUT is replaced only when it is complete.

    With --jobs, --scheduler or a folder for -o, the table is computed in parts, each read and written by the worker
    that computes it. A run that was interrupted continues where it stopped when it is started again.
    """
    from gramwatt.cli.remote import RemoteError
    from gramwatt.engine.tables.chunks import InvalidTable, MalformedTable
    from gramwatt.files.formats import InputTable, choose_output_format
    from gramwatt.files.output import Output

    by = partition_option(more)
    if more["url"] and by is not None:
        fail(f"--url and {by}: give one of them")
    check_options(more)
    wishes = TableOptions(**{key: more[key] for key in TableOptions.__dataclass_fields__})
    if by is not None:
        _by_parts(name, table, wishes, by, more)
    with clean_up_on_signal() as undo, contextlib.ExitStack() as held:
        try:
            source = InputTable(table, more["read_as"])
            held.callback(source.close)
            output = held.enter_context(Output(more["out"]))
            undo.append(output.discard)
            progress = Progress(more["progress"] and not output.on_terminal, source.total, name)
            held.callback(progress.close)
            source.watch(progress.advance)
            run = functools.partial(_by_service if more["url"] else _here, name, source, output, wishes)
            to = choose_output_format(more["to"], more["out"], source.form)
            ending = run(to, parse_assignments(more["constants"]), more)
            progress.close()
            output.keep()
        except InvalidTable as error:
            fail_with_errors(error.errors)
        except MalformedTable as error:
            fail(f"{table}: {error.detail}")
        except RemoteError as error:
            fail(str(error))
        except BrokenPipeError:
            raise
        except OSError as error:
            fail(f"{error.filename or table}: {error.strerror or error}")
        ending.report(output.name)


def _here(
    name: str,
    source: InputTable,
    output: Output,
    wishes: TableOptions,
    to: str,
    constants: dict[str, str],
    more: dict[str, Any],
) -> RunSummary:
    from gramwatt.engine.tables.batch import RowCounts, read_first_chunk, write_table
    from gramwatt.files.output import make_table_writer, save_output

    plan, errors = make_plan_or_fail(name, constants, wishes)
    style = make_style(wishes)
    if errors:
        fail_with_errors(errors)
    plan, pieces = read_first_chunk(plan, source.chunks(plan, style, parse_passthrough(more["keep"])))
    writer, counts = make_table_writer(plan, to, style), RowCounts()
    save_output(write_table(plan, pieces, writer, counts), to, output)
    return RunSummary(counts.rows, counts.invalid, None if counts.failure is None else counts.failure.detail)


def _by_parts(name: str, table: str, wishes: TableOptions, by: str, more: dict[str, Any]) -> NoReturn:
    """Compute the table in parts. ``by`` is the option for which."""
    from gramwatt.engine.tables.chunks import MalformedTable
    from gramwatt.partitions.job import Job
    from gramwatt.partitions.join import part_form
    from gramwatt.partitions.split import describe_table, rows_per_part, split_table

    constants = parse_assignments(more["constants"])
    plan, errors = make_plan_or_fail(name, constants, wishes)
    if errors:
        fail_with_errors(errors)
    style, passthrough = make_style(wishes), parse_passthrough(more["keep"])
    try:
        read, plan, passed = _first_rows(plan, table, style, passthrough, by, more)
        source = describe_table(plan, table, read, style, passthrough)
    except MalformedTable as error:
        fail(f"{table}: {error.detail}")
    except OSError as error:
        fail(f"{error.filename or table}: {error.strerror or error}")
    rows = more["rows_per_part"] or rows_per_part(plan)
    form, folder = choose_format_and_folder(more, read)
    single = not is_folder(more["out"])
    job = Job(plan, source, str(folder), part_form(form) if single else form, style, passed)
    run = {
        "calculator": name,
        "the table": source.path,
        "its size": source.size,
        "its time": source.modified,
        "--from": read,
        "--set": constants,
        "--keep": more["keep"],
        **describe_run(more, wishes, form, rows),
    }
    run_partitioned(job, form, run, lambda: split_table(source, rows), more, "row")


def _first_rows(
    plan: Plan, table: str, style: Style, passthrough: Passthrough, by: str, more: dict[str, Any]
) -> tuple[str, Plan, dict[str, Any]]:
    """Return the format of a table, the plan that its first rows lead to, and the columns that pass through.

    Ends the program where the table cannot be split, or its header is wrong. Raises OSError, Broken.
    """
    from gramwatt.engine.tables.batch import read_first_chunk
    from gramwatt.engine.tables.chunks import InvalidTable
    from gramwatt.files.formats import InputTable
    from gramwatt.partitions.job import get_passthrough_columns
    from gramwatt.partitions.sources import COLUMNAR_FORMATS, TEXT_FORMATS

    if table == "-" or (Path(table).exists() and not Path(table).is_file()):
        found = "standard input" if table == "-" else table
        fail(f"{by}: each worker opens the table by itself: give a file instead of {found}")
    with contextlib.closing(InputTable(table, more["read_as"])) as source:
        if source.form not in (*COLUMNAR_FORMATS, *TEXT_FORMATS):
            found = "a JSON array" if source.form == "json" else "an Arrow IPC stream"
            fail(f"{by}: {table} is {found}, which cannot be split; use Parquet, an Arrow IPC file, CSV or NDJSON")
        try:
            plan, pieces = read_first_chunk(plan, source.chunks(plan, style, passthrough))
            return source.form, plan, get_passthrough_columns(next(pieces, None))
        except InvalidTable as error:
            fail_with_errors(error.errors)


def parse_passthrough(keep: str) -> Passthrough:
    """Which columns pass through."""
    from gramwatt.engine.tables.header import Passthrough

    names = [name.strip() for name in keep.split(",")]
    return Passthrough(frozenset(name for name in names if name and name != "*"), "*" in names)


def _by_service(
    name: str,
    source: InputTable,
    output: Output,
    wishes: TableOptions,
    to: str,
    constants: dict[str, str],
    more: dict[str, Any],
) -> RunSummary:
    from gramwatt.cli.counting import count_batch_rows, count_rows
    from gramwatt.cli.remote import RemoteBatch
    from gramwatt.files.formats import BINARY_FORMATS
    from gramwatt.files.output import save_output

    style, ending = make_style(wishes), RunSummary()
    form = "arrow" if to in BINARY_FORMATS else to
    exchange = RemoteBatch(
        more["url"], name, _query(wishes, form, constants, more["keep"]), source.wire_form, source.wire()
    )
    with contextlib.closing(exchange):
        if form == "arrow":
            save_output(exchange.answer(), to, output, functools.partial(count_batch_rows, ending))
        else:
            separator = "\t" if form == "tsv" else style.separator
            header = style.header != "off"
            pieces = count_rows(exchange.answer(), form, ending, separator=separator, header=header)
            save_output(pieces, to, output)
    return ending


def _query(wishes: TableOptions, form: str, constants: dict[str, str], keep: str) -> dict[str, str]:
    """The options as the service takes them."""
    told = {
        "units": wishes.units,
        "given": "true" if wishes.given else "",
        "uncertainty": "true" if wishes.uncertainty else "",
        "sep": wishes.sep or "",
        "decimal": wishes.decimal,
        "digits": str(wishes.digits),
        "header": wishes.header,
        "keep": keep,
    }
    return {**constants, "format": form, **{option: value for option, value in told.items() if value}}
