"""What the commands share: finding the log, options that recur, printing.

log: every command that reads or writes one.
table output (--csv, --json, --raw, --units): every command that shows a table.
"""

from __future__ import annotations

import functools
import hashlib
import os
import re
import shlex
import sys
import unicodedata
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias, TypeVar

import click

from oplog.errors import DONE, DONE_WITH_PROBLEMS, OplogError, Problem
from oplog.records import dataclass

if TYPE_CHECKING:
    from datetime import datetime, tzinfo

    from oplog import log as log_room
    from oplog.fold import Farm, Unsettled
    from oplog.sheets.table import Table

    Log: TypeAlias = log_room.Log
    FarmType: TypeAlias = Farm
    TableType: TypeAlias = Table
else:
    Log = FarmType = TableType = Any

F = TypeVar("F", bound=Callable[..., Any])

NARROWEST = 40
"""Columns written in however narrow the terminal."""

FEW = 5
"""Problems shown where not all are asked for."""


@dataclass(frozen=True)
class Output:
    """How a table is wanted: as "text", "csv" or "json", in which units, raw text or not."""

    form: str
    units: str
    raw: bool


def log_of(ctx: click.Context) -> Log:
    """The log that was named, or the one in the folder or above it.

    Raises: NotALog, with the way to open one.
    """
    from oplog.log import open_log

    return open_log(path_of(ctx))


def path_of(ctx: click.Context) -> Path:
    """The folder of the log that was named, or of the one in the folder or above it.

    Raises: NotALog, with the way to open one.
    """
    from oplog.log.folder import find, known

    named = ctx.find_root().obj
    return known(Path(named)) if named else find(Path.cwd())


def farm_of(log: Log, *, detail: bool = True) -> Farm:
    """What counts in a log. Damaged files are told of and do not hide the rest.

    detail: False where spans and shapes of visits are not needed; it is quicker.
    """
    from dataclasses import replace

    from oplog.flow.history import DETAIL
    from oplog.fold import fold

    log.tidy_many()
    farm = fold(log.events(without=() if detail else DETAIL))
    for problem in log.problems:
        note(f"{problem} (oplog check tells more)")
    if not detail:
        return farm
    from oplog.log.memory import memory

    return replace(farm, memory=memory())


def with_spans(farm: Farm, log: Log, day: date) -> Farm:
    """A farm read without detail, with the spans of one day's work in it."""
    from dataclasses import replace

    from oplog.flow.history import DETAIL

    wanted = {v.event_id for v in farm.visits if v.day == day}
    wanted |= {d.event_id for d in farm.days if d.day == day}
    shapes = [name for name in DETAIL if name != "spans"]
    found: dict[str, Any] = {e.event_id: e for e in log.some(wanted, without=shapes)}
    return replace(
        farm,
        visits=tuple(found.get(v.event_id, v) for v in farm.visits),
        days=tuple(found.get(d.event_id, d) for d in farm.days),
    )


def with_log(function: F) -> F:
    """Hand the log to a command as its first argument."""

    @click.pass_context
    @functools.wraps(function)
    def wrapped(ctx: click.Context, *args: Any, **kwargs: Any) -> Any:
        return function(log_of(ctx), *args, **kwargs)

    return wrapped  # type: ignore[return-value]


units_option = click.option(
    "--units",
    type=click.Choice(["metric", "us"]),
    default="metric",
    envvar="OPLOG_UNITS",
    show_default=True,
    help="Hectares and km/h, or acres and mph.",
)


def table_options(function: F) -> F:
    """Give a command the options of its output, handed on as one `output`."""

    @click.option("--csv", "form", flag_value="csv", help="Comma-separated values to stdout.")
    @click.option("--json", "form", flag_value="json", help="JSON to stdout.")
    @click.option("--raw", is_flag=True, help="In CSV, leave text that begins like a formula.")
    @units_option
    @functools.wraps(function)
    def wrapped(*args: Any, form: str | None, units: str, raw: bool, **kwargs: Any) -> Any:
        return function(*args, output=Output(form or "text", units, raw), **kwargs)

    return wrapped  # type: ignore[return-value]


def customer_options(function: F) -> F:
    """Give a command --customer and --drivers, handed on as `customer` and `drivers`."""

    @click.option("--customer", metavar="NAME", help="This customer's ground only, no driver.")
    @click.option("--drivers", is_flag=True, help="With --customer: name the drivers too.")
    @functools.wraps(function)
    def wrapped(*args: Any, **kwargs: Any) -> Any:
        return function(*args, **kwargs)

    return wrapped  # type: ignore[return-value]


def customer_in(farm: Farm, name: str | None) -> str | None:
    """A customer's name as the log has it; None where none is named. Raises: UnknownName."""
    from oplog.flow.writing import customer_of

    return None if name is None else customer_of(farm, name)


def seen_by(farm: Farm, customer: str | None, drivers: bool) -> Farm:
    """The farm as a customer may see it; all of it where none is named. Raises: UnknownName."""
    from oplog.season.customer import for_customer

    name = customer_in(farm, customer)
    return farm if name is None else for_customer(farm, name, drivers=drivers)


@dataclass(frozen=True, eq=False)
class Beside:
    """What stands beside figures wherever they are shown: the seal of the log, and what is
    unsettled of all that they hang on. farm: as they were read; None where nothing is."""

    farm: Farm | None
    seal: str
    unsettled: Sequence[Unsettled]

    def data(self, units: str) -> dict[str, Any]:
        """As it stands in data."""
        found = []
        if self.farm is not None and self.unsettled:
            from oplog.sheets.unsettled import as_data

            found = as_data(self.farm, self.unsettled, units)
        return {"unsettled": found, "seal": self.seal}


def beside(farm: Farm, found: Sequence[Unsettled], whole: Farm | None = None) -> Beside:
    """What stands beside figures of a farm. whole: the farm that this is a customer's part of."""
    from oplog.log.chain import seal

    return Beside(farm, seal((whole or farm).entries), found)


def put(
    table: Table, output: Output, zone: tzinfo | None = None, aside: Beside | None = None
) -> None:
    """Print a table to stdout in the form that was asked for; what stands beside it is part of
    JSON, and goes to stderr in CSV. As text it is the caller's (see `end`)."""
    from oplog.sheets.table import in_units

    table = in_units(table, output.units)
    if output.form == "csv":
        from oplog.sheets import data

        click.echo(data.to_csv(table, raw=output.raw), nl=False)
        if aside is not None:
            end(aside, output.units, err=True)
    elif output.form == "json":
        from oplog.sheets import data

        held = aside.data(output.units) if aside is not None else {}
        click.echo(data.to_json(table, held), nl=False)
    else:
        from oplog.sheets import text

        click.echo(text.write(table, zone=zone, width=columns(), bold=bold()))


def say(message: str) -> None:
    """Say what was done: to stdout, wrapped."""
    from oplog.sheets import text

    for line in message.splitlines():
        click.echo(text.paragraph(line, width=columns()))


def teller(output: Output) -> Callable[[str], None]:
    """How to say what is no part of a table: with it to stdout, beside data to stderr."""
    return say if output.form == "text" else note


def problems(found: Sequence[Problem], *, every: bool = False) -> int:
    """Tell of problems in files, the first few or every one, and give the exit code."""
    if not found:
        return DONE
    shown = list(found) if every else list(found)[:FEW]
    for problem in shown:
        note(f"- {problem}", indent="  ")
    if len(shown) < len(found):
        note(f"- and {len(found) - len(shown)} more kinds (--problems shows all)")
    return DONE_WITH_PROBLEMS


def tell_unsettled(
    farm: Farm, found: Sequence[Unsettled], units: str = "metric", *, err: bool = False
) -> bool:
    """Show unsettled matters and what settles each; whether there were any."""
    if found:
        from oplog.sheets import unsettled

        click.echo("\nUnsettled, because it was stated apart:", err=err)
        for line in unsettled.unsettled_lines(farm, found, units, columns()):
            click.echo(line, err=err)
    return bool(found)


def end(aside: Beside, units: str = "metric", *, err: bool = False) -> None:
    """End a sheet: what is unsettled of it, and the seal of the log it was made from."""
    from oplog.sheets import text

    if aside.farm is not None:
        tell_unsettled(aside.farm, aside.unsettled, units, err=err)
    seal = text.paragraph(f"Seal: {aside.seal}", rest="      ", width=columns())
    click.echo(seal if err else f"\n{seal}", err=err)


def content(file: str) -> bytes:
    """The bytes of a file. Raises: OplogError."""
    try:
        return Path(file).read_bytes()
    except OSError as error:
        raise OplogError(
            f"{file} cannot be read: {(error.strerror or str(error)).lower()}. Nothing was changed."
        ) from error


def name_of(file: str) -> str:
    """What a file is called, without its folders."""
    return Path(file).name


def typed() -> str:
    """The command as it was typed, for the log."""
    return shlex.join(["oplog", *sys.argv[1:]])


def note(message: str, *, indent: str = "") -> None:
    """Say something beside the data: to stderr, wrapped."""
    from oplog.sheets import text

    for line in message.splitlines():
        click.echo(text.paragraph(line, rest=indent, width=columns()), err=True)


def file_stem(*names: Any) -> str:
    """Names as the beginning of a file's name on any system: without dots too, as Windows takes
    "con.x-lines.gpx" for the console. What a name loses by that is made up for by four digits of
    its own, so that two names are not one file."""
    return "-".join(_plain(str(n)) for n in names)


def _plain(name: str) -> str:
    text = unicodedata.normalize("NFC", name)
    plain = re.sub(r"[^\w-]+", "-", text).strip("-")[:60]
    if plain == text.replace(" ", "-"):
        return plain
    own = hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()[:4]
    return f"{plain}-{own}" if plain else own


def columns() -> int:
    """Columns to write in: 80, or what a narrower terminal has."""
    if not sys.stdout.isatty():
        return 80
    wide = os.get_terminal_size(sys.stdout.fileno()).columns
    return min(max(wide, NARROWEST), 80) if wide else 80


def bold() -> bool:
    """Whether stdout is a terminal that shows bold and nobody asked it not to."""
    return (
        sys.stdout.isatty()
        and not os.environ.get("NO_COLOR")
        and os.environ.get("TERM", "") not in ("", "dumb")
    )


def at_terminal() -> bool:
    """Whether a person can be asked: both ends of the conversation are a terminal."""
    return sys.stdin.isatty() and sys.stderr.isatty()


class Progress:
    """One line on stderr that says what is being done; nothing where stderr is no terminal."""

    def __init__(self, of: int = 1) -> None:
        self.of, self.shown = of, sys.stderr.isatty()

    def __enter__(self) -> Progress:
        return self

    def __exit__(self, *exception: object) -> None:
        self.clear()

    def clear(self) -> None:
        """Take the line away, as before a question."""
        if self.shown:
            click.echo("\r\033[K", nl=False, err=True)

    def __call__(self, what: str, done: int, of: int) -> None:
        """Show a step (see importing.Progress)."""
        if self.shown:
            from oplog.sheets.text import clean

            of = of or self.of
            line = f"{clean(what)} ({done + 1} of {of})" if of > 1 else clean(what)
            click.echo(f"\r\033[K{line[: columns() - 1]}", nl=False, err=True)


class Day(click.ParamType):  # type: ignore[type-arg]
    """A date as 2027-03-25, or today, or yesterday."""

    name = "date"

    def convert(self, value: Any, param: Any, ctx: Any) -> date | str:
        if isinstance(value, date) or value in ("today", "yesterday"):
            return value  # type: ignore[no-any-return]
        try:
            return date.fromisoformat(value)
        except ValueError:
            self.fail(f"{value!r} is not a date: write it as 2027-03-25.", param, ctx)


class Length(click.ParamType):  # type: ignore[type-arg]
    """A length with its unit, in metres."""

    name = "length"

    def convert(self, value: Any, param: Any, ctx: Any) -> float:
        from oplog.units import parse_length

        if isinstance(value, float):
            return value
        try:
            return parse_length(value)
        except ValueError as error:
            self.fail(str(error), param, ctx)


DAY = Day()
LENGTH = Length()


def clock_time(text: str) -> str:
    """A time of day as HH:MM. Raises: click.BadParameter."""
    from datetime import time

    if not re.fullmatch(r"\d?\d:\d\d", text):
        raise click.BadParameter(f"{text!r} is not a time of day: write it as 04:00.")
    hour, _, minute = text.partition(":")
    try:
        return f"{time(int(hour), int(minute)):%H:%M}"
    except ValueError:
        raise click.BadParameter(f"{text!r} is not a time of day.") from None


def amount(text: str | None) -> tuple[float | None, str | None]:
    """An amount with its unit. Raises: click.BadParameter."""
    from oplog.units import parse_amount

    if text is None:
        return None, None
    try:
        return parse_amount(text)
    except ValueError as error:
        raise click.BadParameter(str(error)) from None


def kind(name: str | None) -> str:
    """A kind of machine or implement as it is known; "" where none is said.

    Raises: click.BadParameter, listing all.
    """
    from oplog.kit import MACHINES, OPERATION_OF

    if name is None:
        return ""
    known = {k.casefold(): k for k in (*MACHINES, *OPERATION_OF)}
    if name.casefold() not in known:
        raise click.BadParameter(
            f"{name!r} is no kind of machine or implement. Machines: {', '.join(MACHINES)}. "
            f"Implements: {', '.join(OPERATION_OF)}."
        )
    return known[name.casefold()]


def zone_of(farm: Farm) -> tzinfo:
    """The farm's time zone."""
    from zoneinfo import ZoneInfo

    return ZoneInfo(farm.zone)


def today(farm: Farm) -> date:
    """The working day that it is now on a farm."""
    day = day_of(farm, "today")
    assert day is not None
    return day


def day_in(log: Log, day: date | str | None) -> date | None:
    """The date that a word stands for in a log; nothing is read where it is a date already."""
    return day_of(farm_of(log, detail=False), day) if isinstance(day, str) else day


def day_of(farm: Farm, day: date | str | None) -> date | None:
    """The date that a word stands for, by the farm's clock and the turn of its working day."""
    from datetime import UTC, datetime, timedelta

    from oplog.flow.days import working_day

    if day is None or isinstance(day, date):
        return day
    today = working_day(datetime.now(UTC), farm.zone, farm.day_turns_at)
    return today - timedelta(days=1) if day == "yesterday" else today


def period_of(
    farm: Farm, first: date | str | None, last: date | str | None
) -> tuple[date | None, date | None]:
    """The dates that --from and --to stand for. Raises: click.UsageError for one that ends before
    it begins."""
    begins, ends = day_of(farm, first), day_of(farm, last)
    if begins and ends and begins > ends:
        raise click.UsageError(f"--from {begins} is later than --to {ends}.")
    return begins, ends


def moment_of(farm: Farm, day: date | str | None) -> datetime:
    """Now, or the turn of the working day that is named."""
    from datetime import UTC, datetime

    from oplog.flow.days import bounds

    named = day_of(farm, day)
    return bounds(named, farm.zone, farm.day_turns_at)[0] if named else datetime.now(UTC)
