"""Runs in parts, for ``batch`` and ``sweep``: options, workers, the joined file, the summary."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NoReturn

from gramwatt.cli.errors import fail, fail_with_errors
from gramwatt.cli.options import TableOptions
from gramwatt.cli.progress import Progress, RunSummary, clean_up_on_signal, pluralize
from gramwatt.extras import require
from gramwatt.version import __version__

if TYPE_CHECKING:
    from gramwatt.partitions.job import Job
    from gramwatt.partitions.runner import Run, Totals
    from gramwatt.partitions.sources import Part
    from gramwatt.partitions.workers import Workers

MAX_PARTS: Final = 100_000
_CONTINUE: Final = "run the same command again to continue"


def is_folder(out: str | None) -> bool:
    """Return whether OUT is a folder: it ends with a slash, or is one already."""
    return out is not None and out != "-" and (out.endswith(("/", os.sep)) or Path(out).is_dir())


def partition_option(options: TableOptions) -> str | None:
    """Return the option, as typed, that makes a run go in parts, or None."""
    if options.scheduler is not None:
        return "--scheduler"
    if (options.jobs or 1) > 1:
        return "--jobs"
    return f"-o {options.out}" if is_folder(options.out) else None


def check_options(options: TableOptions, *, ranked: bool = False) -> None:
    """Exit if options contradict each other. If ``ranked``, only the best rows are written.

    Raises
    ------
    MissingExtra
        A run in parts needs a library that is not installed.
    """
    reject_both(options.jobs, options.scheduler)
    cause = partition_option(options)
    if cause is None:
        if options.rows_per_part is not None:
            fail("--rows-per-part: needs --jobs, --scheduler, or a folder for -o")
        return
    extra = "tables" if options.scheduler is None else "cluster"  # cluster includes tables
    require("pyarrow", extra=extra, purpose=f"Runs in parts ({cause})")
    if ranked:
        if is_folder(options.out):
            fail(f"-o {options.out}: --best writes one file; give a file, not a folder")
    elif options.out is None or options.out == "-":
        fail(f"{cause}: the workers write files; add -o OUT or -o FOLDER/")
    elif Path(options.out).exists() and not Path(options.out).is_file() and not is_folder(options.out):
        fail(f"{cause}: -o {options.out} is neither a file nor a folder")


def reject_both(jobs: int | None, scheduler: str | None) -> None:
    """Exit if both options are given."""
    if jobs is not None and scheduler is not None:
        fail("--jobs and --scheduler: use only one of them")


@contextlib.contextmanager
def open_workers(jobs: int | None, scheduler: str | None) -> Iterator[Workers]:
    """Yield the workers that the options name. Raises WorkersError, MissingExtra."""
    from gramwatt.partitions.workers import Pool, ThisProcess

    if scheduler is not None:
        from gramwatt.partitions.cluster import connect

        with connect(scheduler) as cluster:
            yield cluster
    else:
        yield Pool(jobs) if jobs is not None and jobs > 1 else ThisProcess()


def choose_format_and_folder(options: TableOptions, input_format: str) -> tuple[str, Path]:
    """Return the output format and the folder of the parts: OUT, or one beside OUT until the parts are joined."""
    from gramwatt.files.formats import BINARY_FORMATS, choose_output_format, format_of_name

    out = Path(str(options.out)).absolute()
    if not is_folder(options.out):
        return choose_output_format(options.to, options.out, input_format), out.with_name(f"{out.name}.parts")
    default = "parquet" if input_format in BINARY_FORMATS else input_format
    return options.to or format_of_name(out.name) or default, out


def describe_run(options: TableOptions, output_format: str, rows: int) -> dict[str, Any]:
    """Return the settings that must stay the same for a run to continue, by option as typed."""
    return {
        "gramwatt": __version__,
        "--to": output_format,
        "--units": options.units,
        "--given": options.given,
        "--uncertainty": options.uncertainty,
        "--sep": options.sep,
        "--decimal": options.decimal,
        "--digits": options.digits,
        "--header": options.header,
        "--rows-per-part": rows,
    }


def run_partitioned(
    job: Job,
    output_format: str,
    settings: Mapping[str, Any],
    split: Callable[[], Iterable[Part]],
    options: TableOptions,
    noun: str,
) -> NoReturn:
    """Compute the parts of a job, join them unless OUT is a folder, print a summary and exit."""
    from gramwatt.engine.tables.chunks import InvalidTable, MalformedTable
    from gramwatt.partitions import runner
    from gramwatt.partitions.manifest import ManifestMismatch, manifest_path
    from gramwatt.partitions.sources import SourceError
    from gramwatt.partitions.workers import WorkersError, stop_processes

    run: Run | None = None

    def describe_progress() -> str:
        if run is None:
            return "nothing was written"
        return f"{run.totals.written:,} of {pluralize(run.totals.parts, 'part')} written"

    def describe_interruption() -> str:
        return f"interrupted; {describe_progress()}: {_CONTINUE}\n"

    with clean_up_on_signal(describe_interruption) as clean_up, contextlib.ExitStack() as stack:
        clean_up.append(stop_processes)
        try:
            workers = stack.enter_context(open_workers(options.jobs, options.scheduler))
            run = runner.begin_run(job, settings, lambda: _list_parts(split()))
            total = sum(part.rows for part in run.missing_parts())
            progress = Progress(options.progress, total, job.plan.calculator_name)
            stack.callback(progress.close)
            totals = run.compute(workers, progress.advance)
            progress.close()
            if not is_folder(options.out):
                _join(run, output_format, str(options.out))
        except ManifestMismatch as error:
            manifest = manifest_path(Path(job.folder)).name
            fail(f"{error}; choose another -o, or delete that folder and {manifest}")
        except InvalidTable as error:
            fail_with_errors(error.errors)
        except WorkersError as error:
            fail(str(error) if run is None else f"{error}; {describe_progress()}: {_CONTINUE}")
        except (SourceError, MalformedTable) as error:
            fail(f"{error}; {describe_progress()}")
        except OSError as error:
            fail(f"{error.filename or job.folder}: {error.strerror or error}")
    RunSummary(totals.rows, totals.invalid, totals.failure, noun).report(_describe_output(str(options.out), totals))


def _list_parts(parts: Iterable[Part]) -> list[Part]:
    listed = []
    for part in parts:
        listed.append(part)
        if len(listed) > MAX_PARTS:
            fail(f"--rows-per-part: this makes more than {MAX_PARTS:,} parts; use a larger number")
    return listed


def _join(run: Run, output_format: str, out: str) -> None:
    from gramwatt.files.output import Output
    from gramwatt.partitions.join import join_parts

    header = run.job.make_writer().begin(None) if output_format in ("csv", "tsv") else b""
    with Output(out) as output:
        join_parts(run.part_paths(), output_format, header, output)
        output.commit()
    run.discard()


def _describe_output(out: str, totals: Totals) -> str:
    resumed = f", {totals.resumed:,} of them from an earlier run" if totals.resumed else ""
    return f"{out} ({pluralize(totals.parts, 'part')}{resumed})"
