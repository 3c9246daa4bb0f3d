"""Why a file is not taken in: statements for the person, complete and with what to do."""

from __future__ import annotations

from collections.abc import Sequence

from oplog.errors import Problem
from oplog.flow import gather
from oplog.flow.mixed import two_machines
from oplog.readers._tally import LOCAL_TIME
from oplog.track import Track

ELSEWHERE_M = 300.0
"""Two tracks that put one machine this far apart at the same instants are of two machines."""


def nothing_to_take(name: str, track: Track, fixes: Track, problems: Sequence[Problem]) -> str:
    """Why no work can be worked out from a file; "" where it can."""
    if not len(track):
        return f"{name}: {_reasons(problems) or 'it holds no positions'}. Nothing was added."
    if not len(fixes):
        return f"{name}: {_why_untimed(track, problems)} Nothing was added."
    if len(fixes) < 2:
        return f"{name}: only one position with a time. Nothing was added."
    if mixed := two_machines(fixes):
        return (
            f"{name}: {mixed}: this is more than one machine in one file. Export each machine's "
            "track by itself. Nothing was added."
        )
    return ""


def _why_untimed(track: Track, problems: Sequence[Problem]) -> str:
    """Why no position of a track has a time, and what to do."""
    from oplog.readers._csv_times import SHORT_YEARS, TWO_WAYS
    from oplog.readers._nmea_epochs import UNDATED

    found = {p.message for p in problems}
    if LOCAL_TIME in found:
        return (
            "its times are local times that do not say of which zone. Import it again with the "
            "zone of the clock that wrote them, for example --zone Europe/London."
        )
    count = "one position without a time" if len(track) == 1 else "positions without times"
    remedy = ""
    if UNDATED in found:
        count = "times of day, but no date anywhere in the file"
        remedy = " Have the receiver write RMC or ZDA as well: they hold the date."
    elif unclear := found & {TWO_WAYS, SHORT_YEARS}:
        what = min(unclear)
        count = f"{what}, and nothing in the file that tells. Export it with the whole year first"
    lacks = "That shows where, but not when, so that no work can be worked out from it."
    return f"{count}. {lacks}{remedy}"


def _reasons(problems: Sequence[Problem]) -> str:
    """What was found wrong, commonest first, as one sentence without its stop."""
    ordered = sorted(problems, key=lambda p: -p.count)
    return "; ".join(
        p.message
        + (f" ({p.count} times)" if p.count > 1 else "")
        + (f" (line {p.line})" if p.line is not None and p.count == 1 else "")
        for p in ordered[:3]
    )


def elsewhere(name: str, machine: str, new: Track, held: Sequence[Track]) -> str:
    """Why a track cannot be a machine's that was far away at the same instants; "" otherwise."""
    apart_m = gather.apart_m(new, held)
    if apart_m <= ELSEWHERE_M:
        return ""
    return (
        f"{name}: {machine} was {apart_m / 1000.0:.1f} km away at these very times, by a track "
        "that is in the log already. Is this another machine's? Then say whose: --machine NAME."
    )


def nothing_left(name: str, fixes: Track, problems: Sequence[Problem]) -> str:
    """Why nothing can be taken from a file once what may not be kept was left out; "" where
    something can."""
    if len(fixes) >= 2:
        return ""
    return f"{name}: {_reasons(problems[-1:])}. That leaves nothing. Nothing was added."
