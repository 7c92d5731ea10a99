"""Runs by parts, as ``batch`` and ``sweep`` begin them: where the parts go, who computes them, what is reported."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NoReturn

from gramwatt.cli.messages import fail
from gramwatt.cli.options import Progress, RunSummary, TableOptions, clean_up_on_signal, fail_with_errors, pluralize
from gramwatt.extras import require
from gramwatt.version import __version__

if TYPE_CHECKING:
    from gramwatt.partitions.job import Job
    from gramwatt.partitions.runner import Run, Totals
    from gramwatt.partitions.sources import Part
    from gramwatt.partitions.workers import Workers

MAX_PARTS: Final = 100_000
_AGAIN: Final = "run the same command again to continue"


def is_folder(out: str | None) -> bool:
    """Whether OUT is a folder: it ends with a slash, or is one."""
    return out is not None and out != "-" and (out.endswith(("/", os.sep)) or Path(out).is_dir())


def partition_option(more: Mapping[str, Any]) -> str | None:
    """Return the option, as typed, for which the run goes by parts; None where it does not."""
    if more["scheduler"] is not None:
        return "--scheduler"
    if (more["jobs"] or 1) > 1:
        return "--jobs"
    return f"-o {more['out']}" if is_folder(more["out"]) else None


def check_options(more: Mapping[str, Any], *, ranked: bool = False) -> None:
    """End the program where options contradict each other. With ``ranked`` only the best rows are written.

    Raises MissingExtra where a run by parts needs a library that is not installed.
    """
    if more["jobs"] is not None and more["scheduler"] is not None:
        fail("--jobs and --scheduler: give one of them")
    by = partition_option(more)
    if by is None:
        if more["rows_per_part"] is not None:
            fail("--rows-per-part: goes with --jobs, --scheduler, or a folder for -o")
        return
    extra = "tables" if more["scheduler"] is None else "cluster"  # which brings the other
    require("pyarrow", extra=extra, purpose=f"Runs by parts ({by})")
    if ranked and is_folder(more["out"]):
        fail(f"-o {more['out']}: --best gives one file, not a folder")
    if not ranked and more["out"] in (None, "-"):
        fail(f"{by}: the workers write files: give -o OUT or -o FOLDER/")
    if not ranked and Path(more["out"]).exists() and not Path(more["out"]).is_file() and not is_folder(more["out"]):
        fail(f"{by}: -o {more['out']} is neither a file nor a folder")


@contextlib.contextmanager
def open_workers(more: Mapping[str, Any]) -> Iterator[Workers]:
    """Yield the workers that the options name. Raises WorkersError, MissingExtra."""
    from gramwatt.partitions.workers import Pool, ThisProcess

    if more["scheduler"] is not None:
        from gramwatt.partitions.cluster import connect

        with connect(more["scheduler"]) as cluster:
            yield cluster
    else:
        yield Pool(more["jobs"]) if (more["jobs"] or 1) > 1 else ThisProcess()


def choose_format_and_folder(more: Mapping[str, Any], read: str) -> tuple[str, Path]:
    """Return the format to write, and the folder of the parts: OUT, or one beside OUT until they are joined."""
    from gramwatt.files.formats import BINARY_FORMATS, choose_output_format, format_of_name

    out = Path(more["out"]).absolute()
    if is_folder(more["out"]):
        return more["to"] or format_of_name(out.name) or ("parquet" if read in BINARY_FORMATS else read), out
    return choose_output_format(more["to"], more["out"], read), out.with_name(f"{out.name}.parts")


def describe_run(more: Mapping[str, Any], wishes: TableOptions, form: str, rows: int) -> dict[str, Any]:
    """Return what must be the same for a run to continue, by option as typed."""
    return {
        "gramwatt": __version__,
        "--to": form,
        "--units": wishes.units,
        "--given": wishes.given,
        "--uncertainty": wishes.uncertainty,
        "--sep": wishes.sep,
        "--decimal": wishes.decimal,
        "--digits": wishes.digits,
        "--header": wishes.header,
        "--rows-per-part": rows,
    }


def run_partitioned(
    job: Job, form: str, run: Mapping[str, Any], split: Callable[[], Iterable[Part]], more: Mapping[str, Any], what: str
) -> NoReturn:
    """Compute the parts of a job, join them unless OUT is a folder, report, and end the program."""
    from gramwatt.engine.tables.chunks import InvalidTable, MalformedTable
    from gramwatt.partitions import runner
    from gramwatt.partitions.manifest import ManifestMismatch, manifest_path
    from gramwatt.partitions.sources import SourceError
    from gramwatt.partitions.workers import WorkersError, stop_processes

    begun: Run | None = None

    def progress_text() -> str:
        if begun is None:
            return "nothing was written"
        return f"{begun.totals.written:,} of {pluralize(begun.totals.parts, 'part')} written"

    with clean_up_on_signal(lambda: f"stopped; {progress_text()}: {_AGAIN}\n") as undo, contextlib.ExitStack() as held:
        undo.append(stop_processes)
        try:
            workers = held.enter_context(open_workers(more))
            begun = runner.begin_run(job, run, lambda: _counted(split()))
            progress = Progress(more["progress"], sum(part.rows for part in begun.missing()), job.plan.calculator_name)
            held.callback(progress.close)
            totals = begun.compute(workers, progress.advance)
            progress.close()
            if not is_folder(more["out"]):
                _join(begun, form, more["out"])
        except ManifestMismatch as error:
            fail(f"{error}; choose another -o, or delete that folder and {manifest_path(Path(job.folder)).name}")
        except InvalidTable as error:
            fail_with_errors(error.errors)
        except WorkersError as error:
            fail(str(error) if begun is None else f"{error}; {progress_text()}: {_AGAIN}")
        except (SourceError, MalformedTable) as error:
            fail(f"{error}; {progress_text()}")
        except OSError as error:
            fail(f"{error.filename or job.folder}: {error.strerror or error}")
    RunSummary(totals.rows, totals.invalid, totals.broken, what).report(_where(more["out"], totals))


def _counted(parts: Iterable[Part]) -> list[Part]:
    counted = []
    for part in parts:
        counted.append(part)
        if len(counted) > MAX_PARTS:
            fail(f"--rows-per-part: more than {MAX_PARTS:,} parts; give a larger number")
    return counted


def _join(run: Run, form: str, out: str) -> None:
    from gramwatt.files.output import Output
    from gramwatt.partitions.join import join_parts

    header = run.job.writer().begin(None) if form in ("csv", "tsv") else b""
    with Output(out) as output:
        join_parts(run.paths(), form, header, output)
        output.keep()
    run.discard()


def _where(out: str, totals: Totals) -> str:
    before = f", {totals.found:,} of them from before" if totals.found else ""
    return f"{out} ({pluralize(totals.parts, 'part')}{before})"
