"""The sample farm: an invented farm's fields, kit, crops, jobs and tracks, into a log."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import fields
from datetime import date
from pathlib import Path
from typing import Any

from oplog.flow.history import read
from oplog.flow.importing import Imported, import_files
from oplog.flow.jobs import plan
from oplog.flow.listing import add_kit, add_land, state_crop
from oplog.flow.sample_season import state_all
from oplog.flow.saying import Words, say
from oplog.flow.taking import Told
from oplog.kit import KitItem
from oplog.log import Log, create
from oplog.records import dataclass


@dataclass(frozen=True)
class Sample:
    """The sample farm in a log. days: every machine and working day with a track."""

    log: Log
    name: str
    tracks: int
    days: tuple[tuple[str, date], ...]


def folder() -> Path:
    """Where the sample farm is: inside an installed package, else beside it in a checkout."""
    package = Path(__file__).resolve().parents[1]
    installed = package / "_sample_tracks"
    return installed if installed.is_dir() else package.parent / "sample_tracks"


def open_sample(
    path: Path, progress: Callable[[str, int, int], None] = lambda what, done, of: None
) -> Sample:
    """Open a log in a folder and take in all of the sample farm.

    progress: told (what is being done, how far, of how much). Raises: CannotWrite.
    """
    source = folder()
    told = tomllib.loads((source / "farm.toml").read_text(encoding="utf-8"))
    log = create(path, told["name"], told["zone"])
    first = date.fromisoformat(told["track"][0]["file"][:10])
    _set_up(log, told, source, first)
    days: list[tuple[str, date]] = []
    for i, track in enumerate(told["track"]):
        progress(track["file"], i, len(told["track"]))
        done = _taken(log, source, track)
        days += [d for d in done.days if d not in days]
    days.sort(key=lambda d: (d[1], d[0]))
    state_all(log, told, today=days[-1][1] if days else first)
    return Sample(log, told["name"], len(told["track"]), tuple(days))


def _set_up(log: Log, told: dict[str, Any], source: Path, first: date) -> None:
    """Fields, kit, crops and jobs. first: the day on which it all begins."""
    boundaries = told["boundaries"]
    add_land(
        log,
        (source / boundaries).read_bytes(),
        boundaries,
        today=first,
        name_property=told.get("name_property"),
    )
    for implement in told["implement"]:
        add_kit(log, KitItem(is_machine=False, **_columns(implement)))
    for machine in told["machine"]:
        add_kit(log, KitItem(is_machine=True, **_columns(machine)))
    for crop in told["crop"]:
        state_crop(
            log, crop["fields"], crop["crop"], crop["harvest_year"], variety=crop.get("variety")
        )
    for job in told["job"]:
        plan(log, **{k: v for k, v in job.items() if v is not None}, today=first)


def _taken(log: Log, source: Path, track: dict[str, Any]) -> Imported:
    """A track taken in, and what is said of its visits afterwards."""
    told = Told(**{k: track.get(k) for k in ("machine", "implement", "operation", "driver")})
    data = (source / track["file"]).read_bytes()
    done = import_files(log, [(track["file"], data)], told, command="sample")
    for said in track.get("say", ()):
        farm = read(log).farm
        words = Words(**{k: v for k, v in said.items() if k != "field"})
        handles = [
            farm.standing[v.event_id].handle
            for v in farm.visits
            if (v.machine, v.day) in done.days and v.field == said["field"]
        ]
        say(log, [(h, words) for h in handles], command="sample")
    return done


def _columns(item: dict[str, Any]) -> dict[str, Any]:
    known = {f.name for f in fields(KitItem)}
    return {k: v for k, v in item.items() if k in known}
