"""What may not be kept, taken out of a file as it is imported: private places, and stretches
that were forgotten."""

from __future__ import annotations

from oplog.errors import Problem
from oplog.events import Span
from oplog.fold import Farm
from oplog.track import Track

REWRITTEN = "the file itself is not kept, the track is, rewritten without them"


def of_places(
    farm: Farm, name: str, data: bytes, track: Track, fixes: Track, problems: list[Problem]
) -> tuple[Track, bool]:
    """The fixes of a file without those in private places, and whether its bytes may not be kept.

    track: all that was read, fixes without a time too. What was cut is added to the problems,
    as a count: neither where nor when.
    """
    if not farm.private:
        return fixes, False
    from oplog.flow import cutting
    from oplog.readers.mentions import mentions

    places = cutting.private(farm.private)
    kept = cutting.without_places(fixes, places)
    led_there = len(kept) < len(fixes) or bool(places.inside(track).any())
    if not led_there and not mentions(data, places.boxes):
        return fixes, False
    count = len(fixes) - len(kept)
    if count:
        message = "positions in or about a private place"
        problems.append(Problem(name, None, message, count, f"left out; {REWRITTEN}"))
    else:
        message = "may speak of a private place, beside its track"
        problems.append(Problem(name, None, message, 1, REWRITTEN.removesuffix(" without them")))
    return kept, True


def of_forgotten(
    farm: Farm, name: str, machine: str, fixes: Track, problems: list[Problem]
) -> Track:
    """The fixes of a file that is a machine's, without the stretches that were forgotten of it.

    The very same track where there is nothing to take out.
    """
    spans = forgotten_spans(farm, machine)
    if not spans:
        return fixes
    from oplog.flow import cutting

    kept = cutting.without_spans(fixes, spans)
    if kept is not fixes:
        message = f"positions of a stretch that was forgotten of {machine}"
        done = f"left out; {REWRITTEN}. oplog forget shows what was forgotten"
        problems.append(Problem(name, None, message, len(fixes) - len(kept), done))
    return kept


def forgotten_spans(farm: Farm, machine: str) -> list[Span]:
    """The stretches of time that were forgotten of a machine."""
    return [
        s for f in farm.forgotten if f.machine.casefold() == machine.casefold() for s in f.stretches
    ]


def rewritten(fixes: Track) -> bytes:
    """What is kept in place of a file's own bytes."""
    from oplog.readers import cleared

    return cleared.write(fixes)
