"""A small log of this version with an event of every type in it, as two people would write it.

    python -m tests.make_old_log tests/old_logs/NAME

writes the log, and beside it NAME.json: the ids of its events, its seal, and the figures it comes
to. Made once for a version, and never again: see tests/test_log_old.py.
"""

from __future__ import annotations

import json
import os
import shutil
import sys
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from oplog import log
from oplog.cli import main
from oplog.fold import Farm, fold
from tests.logs import meaning
from tests.tracks import PLACE, bouts, geojson, gpx, square, walk

START = datetime(2026, 4, 7, 7, 0, tzinfo=UTC)
DAY = "2026-04-07"
DRILLED = walk(bouts(0, 0, 40, 100, 4.0), 2.0, start=START)
ROLLED = walk(bouts(200, 0, 48, 100, 6.0), 2.5, start=DRILLED[-1][0] + timedelta(minutes=2))
NAMELESS = walk(bouts(600, 0, 48, 100, 6.0), 2.5, start=ROLLED[-1][0] + timedelta(minutes=5))
HOME = walk([(900, 0), (1000, 0)], 2.0, start=NAMELESS[-1][0] + timedelta(minutes=5))
NEXT = walk(bouts(0, 0, 40, 100, 6.0), 2.5, start=START + timedelta(days=1))
MIDDLE_M = (224.0, 50.0)
"""Of the private place in Mill."""


def figures(farm: Farm) -> dict[str, Any]:
    """What a farm comes to: figures that no later version of the fold may move."""
    standing = farm.standing
    made = {
        "visits": [
            [v.visit, v.machine, v.field, v.implement, v.operation, v.driver, v.worked_m2,
             v.gross_m2, v.missed_m2, v.overlap_m2, v.unseen_m2, v.working_s, v.turning_s,
             *standing[v.event_id][1:]]
            for v in farm.visits
        ],
        "days": [[d.machine, str(d.day), d.tracked_s, d.field_s, d.road_m] for d in farm.days],
        "inputs": sorted([i.product, i.amount, i.unit, i.per_ha] for i in farm.inputs),
        "jobs": sorted([j.job, j.job.casefold() in farm.closed] for j in farm.jobs.values()),
        "kit": sorted([i.name, i.width_m] for held in farm.kit.values() for i in held),
        "fields": sorted([f.name, round(f.area_m2, 3)] for h in farm.fields.values() for f in h),
        "notes": sorted(n.note for n in farm.notes),
        "prices": sorted([p.operation, p.price, p.currency] for p in farm.prices),
        "tracks": sorted([t.machine, t.fix_count, t.known_fixes] for t in farm.tracks),
        "forgotten": sorted([f.machine, f.fix_count, f.place or ""] for f in farm.forgotten),
        "private": sorted(p.place for p in farm.private),
        "unsettled": sorted(u.what for u in farm.unsettled),
        "entries": len(farm.entries),
    }  # fmt: skip
    return dict(json.loads(json.dumps(made)))


def make(path: Path) -> None:
    """Write the log."""
    with tempfile.TemporaryDirectory() as folder:
        base = Path(folder)
        _as_anna(path, base)
        shutil.copytree(path, base / "bob")
        mill = _handle(path, "Mill")
        _run(base, "Bob", base / "bob", "say", mill, "--driver", "Bob")
        _run(base, "Anna", path, "say", mill, "--driver", "Anna")
        _run(base, "Anna", path, "merge", base / "bob")


def _as_anna(path: Path, base: Path) -> None:
    def run(*words: object) -> None:
        _run(base, "Anna", path, *words)

    def file(name: str, data: bytes) -> Path:
        (base / name).write_bytes(data)
        return base / name

    fields = {"Long Acre": square(0, 0, 40, 100), "Mill": square(200, 0, 48, 100)}
    again = {"Long Acre": square(0, 0, 40, 98)}
    lon, lat = (float(v[0]) for v in PLACE.lonlat([MIDDLE_M[0]], [MIDDLE_M[1]]))
    run("new", path, "--name", "Höhe Farm", "--zone", "Europe/London")
    run("land", "add", file("fields.geojson", geojson(fields)), "--farm", "Home")
    run("land", "crop", "Long Acre", "Mill", "spring beans", "--harvest", 2026,
        "--variety", "Vertigo")  # fmt: skip
    run("kit", "add", "blue", "--kind", "tractor", "--right", "0m", "--hitch", "2m")
    run("kit", "add", "drill", "--kind", "drill", "--width", "4m", "--behind", "1m", "--mounted",
        "--holds", "1200kg")  # fmt: skip
    run("kit", "add", "roller", "--kind", "roller", "--width", "6m")
    run("private", "add", "cottage", "--at", f"{lat},{lon}", "--radius", "15m")
    run("plan", "beans", "--operation", "drilling", "--crop", "spring beans", "--by", "2099-04-20")
    run("need", "beans", "bean seed", "245kg", "--kind", "seed")
    run("calibrate", "drill", "bean seed", "--rate", "245kg", "--area", 100, "--caught", "2.4kg")
    run("customer", "add", "Brook", "--field", "Mill")
    run("customer", "price", "rolling", 12.5, "--currency", "GBP", "--customer", "Brook")
    run("sequence", "spring beans", "drilling", "rolling", "combining", "--harvest", 2026)
    run("import", file("morning.gpx", gpx(DRILLED + ROLLED[:120])), "--machine", "blue",
        "--implement", "drill", "--driver", "Anna")  # fmt: skip
    run("import", file("all.gpx", gpx(DRILLED + ROLLED + NAMELESS + HOME)), "--machine", "blue")
    run("import", file("next.gpx", gpx(NEXT)), "--machine", "blue", "--implement", "roller")
    acre, mill = _handle(path, "Long Acre", DAY), _handle(path, "Mill")
    run("say", mill, "--implement", "roller", "--because", "the drill was lifted")
    run("apply", "bean seed", 100, "kg", "--to", "beans", "--left", "5kg")
    seed = fold(log.open_log(path).events()).inputs[0].event_id[:5]
    run("apply", "bean seed", 98, "kg", "--to", "beans", "--replaces", seed)
    run("apply", "diesel", 12, "l", "--to", DAY, "--kind", "fuel", "--machine", "blue")
    run("note", "wet corner", "--on", "Mill")
    run("note", "a slip", "--on", acre)
    slip = next(n for n in fold(log.open_log(path).events()).notes if n.note == "a slip")
    run("strike", slip.event_id[:8], "--because", "wrong field")
    later = _handle(path, "Long Acre", "2026-04-08")
    run("strike", later, "--because", "the neighbour's")
    struck = fold(log.open_log(path).events()).struck[-1].event_id[:8]
    run("strike", struck, "--because", "no, ours")
    run("land", "add", file("again.geojson", geojson(again)), "--from", "2026-04-08")
    run("remeasure", "--field", "Long Acre", "--because", "walked again", "--yes")
    run("forget", "--machine", "blue", "--from", _clock(HOME[10][0]), "--to", _clock(HOME[-1][0]),
        "--because", "nobody's business", "--yes")  # fmt: skip
    run("close", "beans", "--because", "enough")


def _run(base: Path, who: str, path: Path, *words: object) -> None:
    os.environ["OPLOG_CONFIG"] = str(base / f"configuration of {who}")
    own = Path(os.environ["OPLOG_CONFIG"]) / "writer.json"
    if not own.exists():
        own.parent.mkdir()
        own.write_text(json.dumps({"name": who}), "utf-8")
    typed = [str(w).replace(str(base), "stick").replace(str(path), "log") for w in words]
    sys.argv = ["oplog", *typed]
    code = main(["--log", str(path), *map(str, words)])
    if code not in (0, 3):
        raise SystemExit(f"{typed}: {code}")


def _handle(path: Path, field: str, day: str = "") -> str:
    visits = fold(log.open_log(path).events()).visits
    return next(v.visit[:6] for v in visits if v.field == field and day in str(v.day))


def _clock(moment: datetime) -> str:
    """By the farm's clock, an hour ahead in summer."""
    return f"{moment + timedelta(hours=1):%Y-%m-%dT%H:%M}"


if __name__ == "__main__":
    to = Path(sys.argv[1])
    make(to)
    made = log.open_log(to)
    events = made.events()
    known = {
        "seal": made.seal(),
        "events": sorted(meaning(events)),
        "figures": figures(fold(events)),
    }
    (to / "lock").unlink()
    text = json.dumps(known, indent=1, ensure_ascii=False) + "\n"
    to.with_suffix(".json").write_text(text, "utf-8")
