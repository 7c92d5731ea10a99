"""``gramwatt batch``: compute a table here, on a running service, or in parts on many processes."""

from __future__ import annotations

import contextlib
import functools
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NoReturn

import click

from gramwatt.cli.completion import complete_calculators, complete_inputs
from gramwatt.cli.craft import add_craft_text, craft_option
from gramwatt.cli.errors import fail, fail_with_errors
from gramwatt.cli.inputs import parse_assignments
from gramwatt.cli.options import FORMATS, TableOptions, check_style, make_plan_or_fail, make_style, table_options
from gramwatt.cli.partitioned import (
    check_options,
    choose_format_and_folder,
    describe_run,
    is_folder,
    partition_option,
    run_partitioned,
)
from gramwatt.cli.progress import Progress, RunSummary, clean_up_on_signal

if TYPE_CHECKING:
    from gramwatt.engine.tables.header import Passthrough
    from gramwatt.engine.tables.plan import Plan
    from gramwatt.engine.tables.writers import Style
    from gramwatt.files.formats import InputTable
    from gramwatt.files.output import Output

_EXAMPLES: Final = """\b
Examples:
  gramwatt batch pack-current packs.csv -o currents.csv
  gramwatt batch pack-current packs.parquet -o currents/ --jobs 4
"""


@click.command("batch", epilog=_EXAMPLES)
@click.argument("name", metavar="CALCULATOR", shell_complete=complete_calculators)
@click.argument("table")
@click.option("--from", "read_as", type=click.Choice(FORMATS), help="Format of TABLE.  [default: by its extension]")
@click.option(
    "--set",
    "constants",
    metavar="NAME=VALUE",
    multiple=True,
    shell_complete=complete_inputs,
    help="Input that all rows share. Repeatable.",
)
@click.option("--keep", default="", metavar="A,B|*", help="Pass these columns through, or all (*).")
@click.option("--url", metavar="URL", help="Compute on a running service: http://host:8000.")
@craft_option
@table_options
def batch(
    name: str,
    table: str,
    read_as: str | None,
    constants: tuple[str, ...],
    keep: str,
    url: str | None,
    options: TableOptions,
) -> None:
    """Compute a table, row by row.

    TABLE is CSV, TSV, NDJSON, a JSON array, an Arrow IPC stream or file, or Parquet; - is standard input. It may have
    any length. A column whose name is an input is that input; its header may contain a unit: capacity [Ah]. Columns
    named id, name and note pass through. An invalid row gets an error in its last column; all other rows are computed.

    With --jobs, --scheduler or a folder for -o, workers read, compute and write the table in parts. Start an
    interrupted run again to continue it.

    OUT is replaced only when it is complete. Exit status: 0 if all rows were computed, 1 if some were invalid or the
    table ended early, 2 if nothing was computed.
    """
    from gramwatt.cli.remote import RemoteError
    from gramwatt.engine.tables.chunks import InvalidTable, MalformedTable
    from gramwatt.files.formats import InputTable, choose_output_format
    from gramwatt.files.output import Output

    cause = partition_option(options)
    if url and cause is not None:
        fail(f"--url and {cause}: use only one of them")
    check_options(options)
    shared = add_craft_text(parse_assignments(constants))
    if cause is not None:
        _compute_in_parts(name, table, read_as, shared, keep, cause, options)
    with clean_up_on_signal() as clean_up, contextlib.ExitStack() as stack:
        try:
            source = InputTable(table, read_as)
            stack.callback(source.close)
            output = stack.enter_context(Output(options.out))
            clean_up.append(output.discard)
            progress = Progress(options.progress and not output.is_terminal, source.total, name)
            stack.callback(progress.close)
            source.on_progress(progress.advance)
            to = choose_output_format(options.to, options.out, source.form)
            check_style(options, to, source.form)
            if url:
                summary = _compute_remotely(url, name, source, output, shared, keep, to, options)
            else:
                summary = _compute_locally(name, source, output, shared, keep, to, options)
            progress.close()
            output.commit()
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
        summary.report(output.name)


def parse_passthrough(keep: str) -> Passthrough:
    """Return which columns pass through."""
    from gramwatt.engine.tables.header import Passthrough

    names = [name.strip() for name in keep.split(",")]
    return Passthrough(frozenset(name for name in names if name and name != "*"), "*" in names)


def _compute_locally(
    name: str,
    source: InputTable,
    output: Output,
    constants: dict[str, str],
    keep: str,
    to: str,
    options: TableOptions,
) -> RunSummary:
    from gramwatt.engine.tables.batch import RowCounts, read_first_chunk, write_table
    from gramwatt.files.output import make_table_writer, save_output

    plan, errors = make_plan_or_fail(name, constants, options)
    style = make_style(options)
    if errors:
        fail_with_errors(errors)
    plan, chunks = read_first_chunk(plan, source.read_chunks(plan, style, parse_passthrough(keep)))
    writer, counts = make_table_writer(plan, to, style), RowCounts()
    save_output(write_table(plan, chunks, writer, counts), to, output)
    return RunSummary(counts.rows, counts.invalid, None if counts.failure is None else counts.failure.detail)


def _compute_in_parts(
    name: str,
    table: str,
    read_as: str | None,
    constants: dict[str, str],
    keep: str,
    cause: str,
    options: TableOptions,
) -> NoReturn:
    """Compute the table in parts, and exit. ``cause`` is the option that asks for it."""
    from gramwatt.engine.tables.chunks import MalformedTable
    from gramwatt.partitions.job import Job
    from gramwatt.partitions.join import choose_part_format
    from gramwatt.partitions.split import describe_table, rows_per_part, split_table

    plan, errors = make_plan_or_fail(name, constants, options)
    if errors:
        fail_with_errors(errors)
    style, passthrough = make_style(options), parse_passthrough(keep)
    try:
        input_format, plan, columns = _read_beginning(plan, table, read_as, style, passthrough, cause)
        source = describe_table(plan, table, input_format, style, passthrough)
    except MalformedTable as error:
        fail(f"{table}: {error.detail}")
    except OSError as error:
        fail(f"{error.filename or table}: {error.strerror or error}")
    rows = options.rows_per_part or rows_per_part(plan)
    to, folder = choose_format_and_folder(options, input_format)
    check_style(options, to, input_format)
    part_format = to if is_folder(options.out) else choose_part_format(to)
    job = Job(plan, source, str(folder), part_format, style, columns)
    settings = {
        "calculator": name,
        "table": source.path,
        "size of the table": source.size,
        "modification time": source.modified,
        "--from": input_format,
        "--set": constants,
        "--keep": keep,
        **describe_run(options, to, rows),
    }
    run_partitioned(job, to, settings, lambda: split_table(source, rows), options, "row")


def _read_beginning(
    plan: Plan, table: str, read_as: str | None, style: Style, passthrough: Passthrough, cause: str
) -> tuple[str, Plan, dict[str, Any]]:
    """Return the format of a table, the plan by its first rows, and the columns that pass through, without rows.

    Exit if the table cannot be split or its header is invalid. Raises OSError, MalformedTable.
    """
    from gramwatt.engine.tables.batch import read_first_chunk
    from gramwatt.engine.tables.chunks import InvalidTable
    from gramwatt.files.formats import InputTable
    from gramwatt.partitions.job import get_passthrough_columns
    from gramwatt.partitions.sources import COLUMNAR_FORMATS, TEXT_FORMATS

    if table == "-" or (Path(table).exists() and not Path(table).is_file()):
        source_name = "standard input" if table == "-" else table
        fail(f"{cause}: each worker opens the table by itself; give a file instead of {source_name}")
    with contextlib.closing(InputTable(table, read_as)) as source:
        if source.form not in (*COLUMNAR_FORMATS, *TEXT_FORMATS):
            kind = "a JSON array" if source.form == "json" else "an Arrow IPC stream"
            fail(f"{cause}: {table} is {kind}, which cannot be split; use Parquet, an Arrow IPC file, CSV or NDJSON")
        try:
            plan, chunks = read_first_chunk(plan, source.read_chunks(plan, style, passthrough))
            return source.form, plan, get_passthrough_columns(next(chunks, None))
        except InvalidTable as error:
            fail_with_errors(error.errors)


def _compute_remotely(
    url: str,
    name: str,
    source: InputTable,
    output: Output,
    constants: dict[str, str],
    keep: str,
    to: str,
    options: TableOptions,
) -> RunSummary:
    from gramwatt.cli.counting import count_batch_rows, count_rows
    from gramwatt.cli.remote import RemoteBatch
    from gramwatt.files.formats import BINARY_FORMATS
    from gramwatt.files.output import save_output

    style, summary = make_style(options), RunSummary()
    response_format = "arrow" if to in BINARY_FORMATS else to
    query = {**constants, "format": response_format, **_make_query(options, keep, response_format)}
    request = RemoteBatch(url, name, query, source.upload_format, source.read_upload())
    with contextlib.closing(request):
        if response_format == "arrow":
            save_output(request.receive(), to, output, functools.partial(count_batch_rows, summary))
        else:
            separator = "\t" if response_format == "tsv" else style.separator
            header = style.header != "off"
            chunks = count_rows(request.receive(), response_format, summary, separator=separator, header=header)
            save_output(chunks, to, output)
    return summary


def _make_query(options: TableOptions, keep: str, to: str) -> dict[str, str]:
    """Return the options as query parameters of the service."""
    parameters = {
        "units": options.units,
        "given": "true" if options.given else "",
        "uncertainty": "true" if options.uncertainty else "",
        "sep": options.sep if options.sep and options.sep != "," and to == "csv" else "",
        "decimal": options.decimal,
        "digits": str(options.digits),
        "header": options.header,
        "keep": keep,
    }
    return {name: value for name, value in parameters.items() if value}
