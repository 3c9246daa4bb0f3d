"""Two people who correct the same thing on two copies of a log, without knowing of each other:
both versions are shown, and a further correction chooses one. No clock decides."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from oplog import flow, log
from oplog.errors import OplogError, UnknownName
from oplog.events import EntryStruck, VisitSaid, WorkMeasured
from oplog.flow import Words
from oplog.flow.history import read
from oplog.flow.jobs import plan
from oplog.kit import KitItem
from oplog.sheets.unsettled import open_choices, unsettled_lines
from tests.evening import DAY, Said, day_log, in_field, now
from tests.tracks import geojson, square

Act = Callable[[log.Log], object]

TODAY = date(2024, 3, 25)


@pytest.fixture
def two(tmp_path: Path) -> tuple[log.Log, log.Log]:
    """Two copies of a log with one day's work in it."""
    return day_log(tmp_path / "log"), day_log(tmp_path / "other")


def handle(of: log.Log, field: str) -> str:
    """Of the visit to a field, whether it counts or not."""
    return next(e.visit for e in of.events() if isinstance(e, WorkMeasured) and e.field == field)


def say(field: str, **words: str) -> Act:
    return lambda of: flow.say(of, [(handle(of, field), Words(**words))])


def strike(field: str) -> Act:
    return lambda of: flow.strike(of, [handle(of, field)], "not ours")


def redraw(width_m: float) -> Act:
    drawn = geojson({"Mill": square(300, 0, width_m, 200)})
    return lambda of: flow.add_land(of, drawn, "new.geojson", today=TODAY)


def width(metres: float) -> Act:
    return lambda of: flow.add_kit(of, KitItem("roller", "", False, width_m=metres))


def job(field: str) -> Act:
    return lambda of: plan(of, "Roll", "rolling", fields=[field], today=TODAY)


def price(amount: float) -> Act:
    return lambda of: flow.state_price(of, "rolling", amount, "GBP", "ha")


def crop(name: str) -> Act:
    return lambda of: flow.state_crop(of, ["Mill"], name, 2024)


APART: dict[str, tuple[Act, Act]] = {
    "implement": (say("Mill", implement="roller"), say("Mill", implement="drill")),
    "driver": (say("Mill", driver="Anna"), say("Mill", driver="Bob")),
    "implement and operation": (say("Mill", implement="roller"), say("Mill", operation="hoeing")),
    "said and struck": (say("Mill", implement="roller"), strike("Mill")),
    "boundary": (redraw(121), redraw(122)),
    "width": (width(6.3), width(5.7)),
    "job": (job("Mill"), job("Long Acre")),
    "price": (price(11), price(12)),
    "crop": (crop("wheat"), crop("beans")),
}


def brought_together(two: tuple[log.Log, log.Log], acts: tuple[Act, Act]) -> None:
    for one, act in zip(two, acts, strict=True):
        act(one)
    one, other = two
    one.merge(other)
    other.merge(one)
    flow.settle(one)
    flow.settle(other)


@pytest.mark.parametrize("what", APART)
def test_both_are_shown_and_either_can_be_chosen(what: str, two: tuple[log.Log, log.Log]) -> None:
    brought_together(two, APART[what])
    one, other = two
    (matter,) = open_choices(now(one))
    assert [u.what for u in open_choices(now(other))] == [matter.what]
    assert len(matter.events) == 2
    shown = "\n".join(unsettled_lines(now(one), [matter]))
    assert all(e.event_id[:8] in shown for e in matter.events)
    chosen = matter.events[1]
    flow.choose(one, chosen.event_id[:8], "asked")
    other.merge(one)
    for end in two:
        assert flow.settle(end) is None
        assert now(end).unsettled == ()
    assert now(one).visits == now(other).visits
    written = [e for e in one.events() if {e.event_id for e in matter.events} <= {*e.supersedes}]
    assert [e.because for e in written] == ["asked"]
    assert type(written[0]) is type(chosen)


@pytest.mark.parametrize("what", APART)
def test_which_holds_for_now_does_not_hang_on_who_was_first(
    what: str, two: tuple[log.Log, log.Log]
) -> None:
    brought_together(two, APART[what])
    one, other = two
    assert now(one).visits == now(other).visits
    assert now(one).jobs == now(other).jobs
    assert now(one).prices == now(other).prices
    assert now(one).kit == now(other).kit


def test_one_says_with_what_and_the_other_who_drove(two: tuple[log.Log, log.Log]) -> None:
    brought_together(two, (say("Mill", implement="roller"), say("Mill", driver="Bob")))
    assert now(two[0]).unsettled == ()
    visit = in_field(two[0], "Mill")
    assert (visit.implement, visit.driver) == ("roller", "Bob")


@pytest.mark.parametrize(
    ("acts", "again"),
    [
        (APART["implement"], say("Mill", implement="drill", because="looked")),
        (APART["said and struck"], say("Mill", implement="roller", because="looked")),
        (APART["said and struck"], strike("Mill")),
        (APART["width"], width(5.7)),
        (APART["width"], width(6.3)),
        (APART["boundary"], redraw(121)),
        (APART["boundary"], redraw(122)),
        (APART["job"], job("Mill")),
        (APART["price"], price(12)),
        (APART["crop"], crop("wheat")),
    ],
)
def test_stating_it_once_more_chooses_too(
    acts: tuple[Act, Act], again: Act, two: tuple[log.Log, log.Log]
) -> None:
    brought_together(two, acts)
    assert open_choices(now(two[0]))
    again(two[0])
    assert now(two[0]).unsettled == ()
    two[1].merge(two[0])
    assert now(two[1]).unsettled == ()
    assert now(two[1]).visits == now(two[0]).visits


def test_what_stays_open_is_not_decided_by_saying_something_else(
    two: tuple[log.Log, log.Log],
) -> None:
    brought_together(two, APART["implement"])
    with pytest.raises(OplogError, match=r"drill or roller.*--implement"):
        say("Mill", driver="Anna")(two[0])


def test_an_input_corrected_apart_counts_once(two: tuple[log.Log, log.Log]) -> None:
    one, other = two
    first = flow.apply(one, "seed", 100, "kg", "Mill", kind="seed", today=TODAY).event
    other.merge(one)
    handles = first.event_id[:6]
    flow.apply(one, "seed", 120, "kg", "Mill", kind="seed", today=TODAY, replaces=handles)
    flow.apply(other, "seed", 140, "kg", "Mill", kind="seed", today=TODAY, replaces=handles)
    one.merge(other)
    other.merge(one)
    assert len(now(one).inputs) == 1
    assert now(one).inputs == now(other).inputs
    (matter,) = open_choices(now(one))
    flow.choose(one, matter.events[1].event_id[:8])
    assert len(now(one).inputs) == 1
    assert now(one).unsettled == ()


def test_an_input_struck_by_one_and_corrected_by_the_other(two: tuple[log.Log, log.Log]) -> None:
    one, other = two
    first = flow.apply(one, "seed", 100, "kg", "Mill", kind="seed", today=TODAY).event
    other.merge(one)
    flow.strike(one, [first.event_id], "never went out")
    flow.apply(other, "seed", 140, "kg", "Mill", kind="seed", today=TODAY, replaces=first.event_id)
    one.merge(other)
    assert now(one).inputs == ()
    (matter,) = open_choices(now(one))
    stays = next(e for e in matter.events if not isinstance(e, EntryStruck))
    flow.choose(one, stays.event_id[:8], "it did go out")
    assert [i.amount for i in now(one).inputs] == [140]
    assert now(one).unsettled == ()


def test_both_struck_is_no_disagreement(two: tuple[log.Log, log.Log]) -> None:
    brought_together(two, (strike("Mill"), strike("Mill")))
    assert now(two[0]).unsettled == ()


def test_a_strike_that_knew_what_was_said_is_no_disagreement(two: tuple[log.Log, log.Log]) -> None:
    say("Mill", implement="roller")(two[0])
    strike("Mill")(two[0])
    assert now(two[0]).unsettled == ()


def test_a_strike_of_an_earlier_version_knew_what_was_said_too(
    two: tuple[log.Log, log.Log],
) -> None:
    """Strikes once named measurements only."""
    say("Mill", implement="roller")(two[0])
    visit = in_field(two[0], "Mill")
    two[0].append(
        [
            EntryStruck(
                visit=visit.visit, machine=visit.machine, field=visit.field,
                started_at=visit.started_at, ended_at=visit.ended_at,
                supersedes=(visit.event_id,), because="not ours",
            )
        ]
    )  # fmt: skip
    assert now(two[0]).unsettled == ()
    assert all(v.field != "Mill" for v in now(two[0]).visits)


def test_a_version_that_is_none_is_told(two: tuple[log.Log, log.Log]) -> None:
    brought_together(two, APART["width"])
    with pytest.raises(UnknownName, match="version"):
        flow.choose(two[0], "ffffffff")


def test_the_commands_show_both_versions(
    two: tuple[log.Log, log.Log], run: Callable[..., Said]
) -> None:
    one, other = two
    mill = handle(one, "Mill")
    say("Mill", implement="roller")(one)
    say("Mill", implement="drill", because="saw it")(other)
    merged = run("--log", str(one.path), "merge", str(other.path)).out
    said = [e for e in read(one).current if isinstance(e, VisitSaid)]
    for command in (["settle"], ["check"], ["day", DAY.isoformat()], ["history", mill],
                    ["field", "Mill"], ["output"]):  # fmt: skip
        out = run("--log", str(one.path), *command).out
        assert all(e.event_id[:8] in out for e in said), command
        assert "saw it" in out
    assert all(e.event_id[:8] in merged for e in said)
    rows = json.loads(run("--log", str(one.path), "settle", "--json").out)["rows"]
    assert {row["version"] for row in rows} == {e.event_id[:8] for e in said}
    assert any("saw it" in row["says"] for row in rows)
    first = said[0].event_id[:8]
    out = run("--log", str(one.path), "settle", first, "--because", "asked").out
    assert "Chosen" in out
    back = re.search(r"oplog strike (\w+) --because WHY", out)
    assert back
    assert run("--log", str(one.path), "strike", back[1], "--because", "no").code == 0
    assert "said in different ways" in run("--log", str(one.path), "settle").out
    assert "Nothing is unsettled" in out


def test_a_width_that_was_chosen_tells_that_figures_stay(
    two: tuple[log.Log, log.Log], run: Callable[..., Said]
) -> None:
    brought_together(two, APART["width"])
    chosen = open_choices(now(two[0]))[0].events[0].event_id[:8]
    out = run("--log", str(two[0].path), "settle", chosen).out
    assert "Figures stay as they are until: oplog remeasure" in out
    said = run("--log", str(two[0].path), "kit", "add", "roller", "--width", "6.1m")
    assert "Figures stay as they are until: oplog remeasure" in said.err
