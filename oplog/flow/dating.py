"""Dates 1024 weeks off: noticed, offered, and set right only when confirmed."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from oplog.errors import Problem
from oplog.fold import Farm
from oplog.readers.rollover import suspect_rollover
from oplog.track import Track

_NEAR = timedelta(days=60)
"""A file is copied from its device within this, more or less."""


def moved(track: Track, days: int, name: str, why: str) -> tuple[Track, Problem]:
    """A track with its dates moved, and the statement of it that goes into the log."""
    later = replace(track, time=track.time + np.timedelta64(days, "D"))
    return later, Problem(name, None, _message(days), done=why)


def confirmed(farm: Farm, device: str, machine: str | None, days: int) -> str:
    """Whose dates were moved by so many days before, as somebody said; "" if nobody's were."""
    for one in farm.tracks:
        if any(f.message == _message(days) for f in one.found):
            if machine and one.machine.casefold() == machine.casefold():
                return f"as before for {one.machine}"
            if device and one.device == device and machine is None:
                return "as before for this device"
    return ""


def doubt(track: Track, farm: Farm, written: date | None, today: date) -> int | None:
    """How many days to add to dates that look 1024 weeks off; None where they can be right.

    track: timed fixes in order. written: when the file was written; today: the clock may be wrong,
    so that the latest of these and of the log's tracks is taken for the present.
    """
    known = [t.last_at.date() for t in farm.tracks]
    present = max([today, *known, *([written] if written and written <= today else [])])
    return suspect_rollover(track.time[0], present) if len(track) else None


def question(track: Track, days: int, farm: Farm, written: date | None) -> str:
    """What is asked of the person, with what speaks for the one date and the other."""
    first: date = track.time[0].astype("datetime64[D]").item()
    last: date = track.time[-1].astype("datetime64[D]").item()
    later = timedelta(days=days)
    asked = f"begins on {first}"
    if days < 0:
        asked += (
            ", a day that is still to come by the clock here: if that is wrong, set the clock and "
            "import it again"
        )
    asked += (
        ". Receivers whose week counter has run over write dates "
        f"1024 weeks off: it could be {first + later}."
    )
    if written is not None:
        if abs(written - (last + later)) <= _NEAR:
            asked += f" The file was written on {written}, which speaks for that."
        elif abs(written - last) <= _NEAR:
            asked += f" But the file was written on {written}."
    others = [t for t in farm.tracks if not any(f.message == _message(days) for f in t.found)]
    if others:
        begin = min(t.first_at for t in others).date()
        end = max(t.last_at for t in others).date()
        asked += f" The log's other tracks are of {begin} to {end}."
    return (
        f"{asked} If so, import it with --add-days {days}, and later files of the machine will be "
        "dated likewise; if the date is right, with --add-days 0. Nothing was added."
    )


def _message(days: int) -> str:
    return f"dates moved by {days} days"
