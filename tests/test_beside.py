"""What stands beside figures wherever they are shown: what is unsettled of them, and the seal."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any

import click
import pyarrow.parquet as pq
import pyogrio
import pytest

from oplog import flow, log
from oplog.cli import Commands, main, program
from oplog.events import CustomerStated
from oplog.flow import Told, Words
from oplog.flow.history import read
from oplog.fold import fold, of_tables
from oplog.season.customer import for_customer
from oplog.sheets.unsettled import as_data, of_field, sentence
from tests.evening import DAY, Run, day_gpx, farm_log
from tests.factory import drawn, work

DATE = DAY.isoformat()
MILL = "blue in Mill on 2024-03-25 was said in different ways."
SEED = "bean seed"


@pytest.fixture(scope="module")
def apart(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two people stated apart who drove in Mill, what drilling costs, and what went out there."""
    with pytest.MonkeyPatch.context() as patch:
        base = tmp_path_factory.mktemp("apart")
        patch.setenv("OPLOG_CONFIG", str(base / "configuration"))
        one = farm_log(base / "log")
        flow.import_file(one, day_gpx(), "day.gpx", Told(machine="blue", implement="drill"))
        flow.state_crop(one, ["Mill", "Long Acre"], "beans", 2024)
        flow.state_customer(one, "Brook", fields=["Mill"])
        flow.state_customer(one, "Holt", fields=["Long Acre"])
        seed = flow.apply(one, SEED, 500, "kg", "Mill", kind="seed", today=DAY).event
        flow.apply(one, "Halt", 7, "l", "Long Acre", kind="spray", today=DAY)
        main(["--log", str(one.path), "plan", "beans in", "--operation", "drilling",
              "--fields", "Mill"])  # fmt: skip
        shutil.copytree(one.path, base / "other")
        mill = next(v.visit for v in read(one).farm.visits if v.field == "Mill")
        stated = {"configuration": ("Anna", 11.0, 510.0), "another": ("Bob", 12.0, 520.0)}
        for (user, words), at in zip(stated.items(), ("log", "other"), strict=True):
            patch.setenv("OPLOG_CONFIG", str(base / user))
            held = log.open_log(base / at)
            driver, price, amount = words
            flow.say(held, [(mill, Words(driver=driver, because="saw it"))])
            flow.state_price(held, "drilling", price, "GBP", "ha")
            flow.apply(held, SEED, amount, "kg", "Mill", kind="seed", today=DAY,
                       replaces=seed.event_id)  # fmt: skip
        one.merge(log.open_log(base / "other"))
        flow.settle(one)
        return one.path


SHEETS: dict[str, tuple[tuple[str, ...], bool]] = {
    "day": (("day", DATE), True),
    "season": (("season", "2024"), True),
    "field": (("field", "Mill"), True),
    "another field": (("field", "Long Acre"), False),
    "jobs": (("jobs",), True),
    "job": (("jobs", "beans in"), True),
    "account": (("account", "Brook"), True),
    "another account": (("account", "Holt"), False),
    "output": (("output",), True),
    "inputs": (("inputs",), True),
    "sprays": (("sprays",), True),
    "answer": (("ask", "hectares_per_day"), True),
    "customer's answer": (("ask", "visits", "--customer", "Brook"), True),
    "another's answer": (("ask", "visits", "--customer", "Holt"), False),
    "land": (("land",), False),
    "kit": (("kit",), False),
    "customers": (("customer",), False),
    "notes": (("notes",), False),
    "sequence": (("sequence",), True),
    "fixes": (("fixes", DATE), True),
    "history": (("history", DATE), True),
    "what would change": (("remeasure", "--field", "Mill"), True),
}
"""Each with whether its figures hang on what was said of Mill."""

DATA: dict[str, tuple[tuple[str, ...], bool]] = {
    **SHEETS,
    "private places": (("private",), False),
    "what was forgotten": (("forget",), False),
    "what is open": (("settle",), True),
    "what a check found": (("check",), True),
}
"""What can be had as CSV and JSON; to compare has a test of its own."""


def plain(text: str) -> str:
    return " ".join(text.split())


def seal_in(text: str) -> str:
    found = re.search(r"Seal: ([-0-9a-z ]+)", plain(text))
    assert found, text
    return found[1].strip()


_HELD: dict[tuple[tuple[str, ...], str], bool] = {}
"""Whether a seal holds for a log, by the names of its files, which are digests of their bytes:
the same seal of the same files is looked into once."""


def holds(run: Run, at: Path, seal: str) -> bool:
    files = (str(at), *sorted(p.name for p in (at / "events").iterdir()))
    if (files, seal) not in _HELD:
        _HELD[files, seal] = _holds(run, at, seal)
    return _HELD[files, seal]


def _holds(run: Run, at: Path, seal: str) -> bool:
    said = run("--log", at, "check", "--seal", seal)
    return said.code == 0 and "still holds" in said.out


@pytest.mark.parametrize("name", SHEETS)
def test_a_sheet_ends_with_what_is_unsettled_and_the_seal(name: str, apart: Path, run: Run) -> None:
    words, hangs = SHEETS[name]
    said = run("--log", apart, *words)
    assert said.code == 0
    assert (MILL in plain(said.out)) == hangs
    last = said.out.splitlines()[-1]
    assert last.startswith("Seal: ")
    assert len(seal_in(last).split()) > 1
    assert holds(run, apart, seal_in(last))


def test_a_seal_is_checked_as_it_is_printed_and_unquoted(apart: Path, run: Run) -> None:
    last = run("--log", apart, "day", DATE).out.splitlines()[-1]
    assert holds(run, apart, last), "the line as it is printed"
    assert run("--log", apart, "check", "--seal", *seal_in(last).split()).code == 0, "unquoted"
    assert run("--log", apart, "check", "x").code == 2


@pytest.mark.parametrize("name", DATA)
def test_json_holds_both_beside_the_rows(name: str, apart: Path, run: Run) -> None:
    words, hangs = DATA[name]
    said = run("--log", apart, *words, "--json")
    held = json.loads(said.out)
    assert (said.code, list(held)) == (0, ["rows", "unsettled", "seal"])
    assert (MILL in [u["what"] for u in held["unsettled"]]) == hangs
    assert holds(run, apart, held["seal"])
    for u in held["unsettled"]:
        if u["settle"]:
            assert u["versions"][0]["version"] in u["settle"]


@pytest.mark.parametrize("name", DATA)
def test_csv_is_rows_alone_and_both_are_told_beside_it(name: str, apart: Path, run: Run) -> None:
    words, hangs = DATA[name]
    said = run("--log", apart, *words, "--csv")
    assert said.code == 0
    rows = list(csv.reader(io.StringIO(said.out)))
    assert len({len(r) for r in rows}) == 1
    assert "Seal" not in said.out
    assert (MILL in plain(said.err)) == hangs
    assert holds(run, apart, seal_in(said.err))


COMMANDS = {
    "account": ("Brook",), "apply": None, "ask": ("visits",), "calibrate": None, "check": None,
    "close": None, "compare": ("drill", "roller"), "customer": (), "day": (), "export": None,
    "field": ("Mill",), "fixes": (DATE,), "forget": None, "history": (DATE,), "import": None,
    "inputs": (), "jobs": (), "kit": (), "land": (), "lines": None, "merge": None, "need": None,
    "new": None, "note": None, "notes": (), "output": (), "plan": None, "private": None,
    "remeasure": (), "sample": None, "say": None, "season": ("2024",), "sequence": (),
    "settle": None, "sheet": None, "sprays": (), "strike": None,
}  # fmt: skip
"""Every command, with words that make it show figures; None for those that write, or show none, and
those that have a test of their own."""


def test_every_command_that_shows_figures_ends_with_the_seal(tmp_path: Path, run: Run) -> None:
    """On a farm without work, too: that there is none is a figure."""
    import pkgutil

    from oplog import cli

    names = {m.name.rstrip("_") for m in pkgutil.iter_modules(cli.__path__) if m.name[0] != "_"}
    assert names == set(COMMANDS)
    bare = farm_log(tmp_path / "log")
    flow.state_customer(bare, "Brook", fields=["Mill"])
    for name, words in COMMANDS.items():
        if words is not None and name not in ("compare", "history"):
            said = run("--log", bare.path, name, *words)
            assert said.out.splitlines()[-1].startswith("Seal: "), (name, said)


WITHOUT = {
    "apply", "calibrate", "close", "customer add", "customer price", "export", "import", "kit add",
    "land accept", "land add", "land crop", "lines", "merge", "need", "new", "note", "plan",
    "private add", "private remove", "sample", "say", "sheet", "sheet account", "sheet day",
    "sheet field", "sheet job", "sheet season", "strike",
}  # fmt: skip
"""Commands that do something or make a file, and show no table that no other command shows."""


def test_every_other_command_can_be_had_as_csv_and_json() -> None:
    def options(group: Commands, before: str = "") -> Iterator[tuple[str, set[str]]]:
        ctx = click.Context(group)
        for name in group.list_commands(ctx):
            command = group.get_command(ctx, name)
            assert command is not None
            yield f"{before}{name}", {o for p in command.params for o in p.opts}
            if isinstance(command, Commands):
                yield from options(command, f"{name} ")

    found = dict(options(program))
    both = {name for name, has in found.items() if {"--csv", "--json", "--raw"} <= has}
    assert set(found) - both == WITHOUT
    assert {words[0] for words, _ in DATA.values()} | {"compare"} == both


def test_what_shows_the_figures_it_wrote_ends_with_them_too(
    apart: Path, run: Run, tmp_path: Path
) -> None:
    at = ("--log", shutil.copytree(apart, tmp_path / "log"))
    mill = next(v.visit for v in read(log.open_log(at[1])).farm.visits if v.field == "Mill")
    for words in (
        ("say", mill[:8], "--implement", "drill", "--driver", "Anna"),
        ("apply", "seed", "3kg", "--to", "Mill", "--kind", "seed"),
        ("compare", "drill", "blue"),
    ):
        said = run(*at, *words)
        assert said.code == 0, said.err
        assert said.out.splitlines()[-1].startswith("Seal: "), said
    assert SEED in run(*at, "apply", "seed", "3kg", "--to", "Mill", "--kind", "seed").out


PAGES: dict[str, tuple[tuple[str, ...], bool]] = {
    "day": (("day", DATE), True),
    "season": (("season", "2024"), True),
    "field": (("field", "Mill"), True),
    "another field": (("field", "Long Acre"), False),
    "job": (("job", "beans in"), True),
    "account": (("account", "Brook"), True),
    "another account": (("account", "Holt"), False),
}


@pytest.mark.parametrize("name", PAGES)
def test_a_page_tells_what_is_unsettled_and_the_command_to_check_its_seal(
    name: str, apart: Path, run: Run
) -> None:
    words, hangs = PAGES[name]
    html = run("--log", apart, "sheet", *words, "--out", "-").out
    text = plain(unescape(re.sub(r"<[^>]*>", " ", html)))
    assert (MILL in text) == hangs
    assert ("see the end of the sheet" in text) == (hangs or "account" in name), "its price"
    found = re.search(r'oplog check --seal "([^"]+)"', text)
    assert found
    assert holds(run, apart, found[1])


def test_each_figure_tells_of_what_it_hangs_on_and_no_more(apart: Path, run: Run) -> None:
    def told(*words: str) -> set[str]:
        held = json.loads(run("--log", apart, *words, "--json").out)
        return {u["what"].split()[0] for u in held["unsettled"]}

    assert told("ask", "hectares_per_day") == {"blue"}
    assert told("inputs") == {"blue", "bean"}
    assert told("account", "Brook") == {"blue", "The", "What"}
    assert told("account", "Holt") == {"The"}
    assert told("field", "Long Acre") == set()
    assert told("customer") == {"The"}
    assert told("land") == told("kit") == told("notes") == set()


def test_a_customer_is_not_told_who_said_what(apart: Path, run: Run) -> None:
    made = [run("--log", apart, "sheet", "account", "Brook", "--out", "-").out]
    for form in ((), ("--csv",), ("--json",)):
        for words in (("account", "Brook"), ("ask", "inputs", "--customer", "Brook")):
            said = run("--log", apart, *words, *form)
            made.append(said.out + said.err)
    for text in made:
        assert MILL in plain(text)
        assert "not settled yet" in plain(text) or '"settle": null' in text
        others = ("Anna", "Bob", "Holt", "saw it", "Long Acre", "oplog settle")
        assert not [word for word in others if word in text]


def test_a_log_that_is_settled_says_nothing_of_it(apart: Path, run: Run, tmp_path: Path) -> None:
    shutil.copytree(apart, tmp_path / "log")
    while open_now := read(log.open_log(tmp_path / "log")).farm.unsettled:
        flow.choose(log.open_log(tmp_path / "log"), open_now[0].events[0].event_id, "asked")
    at = ("--log", tmp_path / "log")
    shown = [run(*at, *SHEETS[name][0]).out for name in ("day", "season", "account")]
    shown.append(run(*at, "sheet", "account", "Brook", "--out", "-").out)
    assert not [text for text in shown if "nsettled" in text]
    assert not holds(run, apart, seal_in(shown[0])), "this log does not hold what settled it"


def beside(file: Path) -> dict[str, Any]:
    """What stands beside the rows in an exported file."""
    if file.suffix == ".parquet":
        return dict(json.loads(pq.read_schema(file).metadata[b"oplog"]))
    if file.suffix == ".gpkg":
        held = dict(pyogrio.read_info(file)["layer_metadata"])
        return {**held, "unsettled": json.loads(held["unsettled"])}
    return dict(json.loads(file.read_text("utf-8")))


@pytest.mark.parametrize(
    ("what", "form"),
    [("visits", "json"), ("visits", "parquet"), ("coverage", "geojson"), ("coverage", "parquet"),
     ("coverage", "gpkg")],
)  # fmt: skip
def test_what_is_exported_holds_both_where_its_kind_has_a_place(
    what: str, form: str, apart: Path, run: Run, tmp_path: Path
) -> None:
    file = tmp_path / f"out.{form}"
    said = run("--log", apart, "export", what, file)
    assert MILL in plain(said.out)
    held = beside(file)
    assert MILL in [u["what"] for u in held["unsettled"]]
    assert held["seal"] == seal_in(said.out)
    assert holds(run, apart, held["seal"])


def test_tracks_for_a_phone_say_it_in_words(apart: Path, run: Run, tmp_path: Path) -> None:
    said = run("--log", apart, "export", "bouts", tmp_path / "out.gpx")
    text = unescape((tmp_path / "out.gpx").read_text("utf-8"))
    assert MILL in text
    assert f"Seal: {seal_in(said.out)}" in text


def test_lines_to_follow_say_it_in_both_files(apart: Path, run: Run, tmp_path: Path) -> None:
    said = run("--log", apart, "lines", "Mill", "--boom", "24m", "--to", tmp_path)
    assert said.code == 0, said.err
    assert MILL in plain(said.out)
    assert said.out.splitlines()[-1] == f"Seal: {seal_in(said.out)}"
    held = beside(next(tmp_path.glob("*.geojson")))
    assert MILL in [u["what"] for u in held["unsettled"]]
    assert held["seal"] == seal_in(said.out)
    text = unescape(next(tmp_path.glob("*.gpx")).read_text("utf-8"))
    assert MILL in text
    assert f"Seal: {seal_in(said.out)}" in text


def test_work_told_in_two_ways_is_said_with_what_measures_it_again(tmp_path: Path) -> None:
    """Of events as a log gives them, which are read as they are needed."""
    made = log.create(tmp_path / "log", "Hill Farm", "Europe/London")
    stated = CustomerStated(customer="Brook", fields=("Long Acre",), nonce="1")
    made.append([drawn(), drawn("Mill"), stated, work(), work(implement="roller")])
    farm = fold(made.events())
    (matter,) = farm.unsettled
    assert of_tables(farm, ["visits"]) == of_field(farm, "Long Acre") == [matter]
    assert of_tables(farm, ["notes"]) == of_field(farm, "Mill") == []
    assert "To measure the day again: oplog settle" in sentence(farm, matter)
    assert [u["settle"] for u in as_data(farm, [matter])] == ["oplog settle"]
    (told,) = for_customer(farm, "Brook").unsettled
    assert told.what == "The work of blue on 2026-04-10 waits to be measured again."
    assert told.events == ()
