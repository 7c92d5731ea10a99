"""``gramwatt batch``: a table of questions answered, here, by a running service, or by the workers of a cluster."""

from __future__ import annotations

import contextlib
import functools
from typing import TYPE_CHECKING, Any

import click

from gramwatt.commands.options import (
    FORMATS,
    Ending,
    Progress,
    Wishes,
    plan_of,
    refuse,
    style_of,
    table_options,
    tidy,
)
from gramwatt.commands.words import fail, named

if TYPE_CHECKING:
    from gramwatt.commands.files import Table
    from gramwatt.commands.output import Output


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
    """
    from gramwatt.cluster import ClusterError
    from gramwatt.commands.files import Table, written_as
    from gramwatt.commands.output import Output
    from gramwatt.commands.remote import RemoteError
    from gramwatt.edge.tables.chunk import Broken, Unreadable

    if more["url"] and more["scheduler"]:
        fail("--url and --scheduler: give one of them")
    wishes = Wishes(**{key: more[key] for key in Wishes.__dataclass_fields__})
    with tidy() as undo, contextlib.ExitStack() as held:
        try:
            source = Table(table, more["read_as"])
            held.callback(source.close)
            output = held.enter_context(Output(more["out"]))
            undo.append(output.discard)
            progress = Progress(more["progress"] and not output.on_terminal, source.total, name)
            held.callback(progress.close)
            source.watch(progress.advance)
            run = functools.partial(_by_service if more["url"] else _here, name, source, output, wishes)
            to = written_as(more["to"], more["out"], source.form)
            ending = run(to, named(more["constants"]), more)
            progress.close()
            output.keep()
        except Unreadable as error:
            refuse(error.faults)
        except Broken as error:
            fail(f"{table}: {error.detail}")
        except (RemoteError, ClusterError) as error:
            fail(str(error))
        except BrokenPipeError:
            raise
        except OSError as error:
            fail(f"{error.filename or table}: {error.strerror or error}")
        ending.tell(output.name)


def _here(
    name: str, source: Table, output: Output, wishes: Wishes, to: str, constants: dict[str, str], more: dict[str, Any]
) -> Ending:
    from gramwatt import cluster
    from gramwatt.commands.files import BINARY
    from gramwatt.commands.output import save
    from gramwatt.edge.tables.answering import answered
    from gramwatt.edge.tables.batch import Form, Tally, opened, writer, written

    plan, faults = plan_of(name, constants, wishes)
    style = style_of(wishes)
    if faults:
        refuse(faults)
    plan, pieces = opened(plan, source.chunks(plan, style, keeping(more["keep"])))
    into, tally = writer(plan, Form("arrow" if to in BINARY else to, style)), Tally()
    with contextlib.ExitStack() as held:
        answer = answered
        if more["scheduler"] is not None:
            client = held.enter_context(cluster.connected(more["scheduler"]))
            parts = cluster.Parts(client, plan, pieces)
            pieces, answer = iter(parts), parts.answered
        save(written(plan, pieces, into, tally, answer), to, output)
    return Ending(tally.rows, tally.faulty, None if tally.broken is None else tally.broken.detail)


def keeping(keep: str) -> Any:
    """Which columns pass through."""
    from gramwatt.edge.tables.heading import Keeping

    names = [name.strip() for name in keep.split(",")]
    return Keeping(frozenset(name for name in names if name and name != "*"), "*" in names)


def _by_service(
    name: str, source: Table, output: Output, wishes: Wishes, to: str, constants: dict[str, str], more: dict[str, Any]
) -> Ending:
    from gramwatt.commands.counting import count_batch, counted
    from gramwatt.commands.files import BINARY
    from gramwatt.commands.output import save
    from gramwatt.commands.remote import Exchange

    style, ending = style_of(wishes), Ending()
    form = "arrow" if to in BINARY else to
    exchange = Exchange(
        more["url"], name, _query(wishes, form, constants, more["keep"]), source.wire_form, source.wire()
    )
    with contextlib.closing(exchange):
        if form == "arrow":
            save(exchange.answer(), to, output, functools.partial(count_batch, ending))
        else:
            separator = "\t" if form == "tsv" else style.separator
            header = style.header != "off"
            pieces = counted(exchange.answer(), form, ending, separator=separator, header=header)
            save(pieces, to, output)
    return ending


def _query(wishes: Wishes, form: str, constants: dict[str, str], keep: str) -> dict[str, str]:
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
