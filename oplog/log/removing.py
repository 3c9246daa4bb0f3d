"""What is to be taken out of a log's folder because it was forgotten, here or in a copy that is
brought in: looked up in the log, and worked out by `forgetting`."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from typing import TYPE_CHECKING

from oplog.events import FarmOpened, StretchForgotten, TrackImported
from oplog.log import forgetting
from oplog.log.reading import Index, together
from oplog.track import Track

if TYPE_CHECKING:
    from oplog.log.book import Log


def told(log: Log, index: Index) -> forgetting.Told:
    """What was forgotten, as a log's events say."""
    ids = forgetting.ids(index)
    return forgetting.told(log.some(ids)) if ids else forgetting.Told()


def plan(
    log: Log,
    index: Index,
    known: forgetting.Told,
    stretches: Sequence[StretchForgotten] = (),
    *,
    imports: Iterable[TrackImported] | None = None,
    files: Collection[str] = (),
    other: Log | None = None,
    look_into_files: bool = False,
) -> forgetting.Plan:
    """What is to be taken out; tracks and files come from the first log that has them.

    imports: by default all of the log's. files: digests of files that go as well. other: a log
    that is brought in.
    """
    sources = (log, other) if other else (log,)

    def track_of(digest: str) -> Track | None:
        return next((s.fixes(digest) for s in sources if s.has_fixes(digest)), None)

    def file_of(digest: str) -> bytes | None:
        return next((s.raw(digest) for s in sources if s.has_raw(digest)), None)

    opened = log.some(index.of_type(FarmOpened))
    zone = next((e.zone for e in opened if isinstance(e, FarmOpened)), None)
    return forgetting.plan(
        index.imports if imports is None else imports,
        forgetting.Told((*known.stretches, *stretches), known.cuts),
        track_of,
        file_of if look_into_files else None,
        zone,
        files,
    )


def left_to_do(
    log: Log, index: Index, known: forgetting.Told, *, everywhere: bool, other: Log | None = None
) -> forgetting.Plan | None:
    """What was forgotten and is still here; None for nothing.

    everywhere: look into every import of the machines concerned, not only at what is known to
    have been part of a stretch.
    """
    if not known:
        return None
    undone = forgetting.unfinished(log.path, known)
    imports = index.imports
    if not everywhere and not undone:
        imports = tuple(i for i in imports if forgetting.may_hold(i, known))
    made = plan(log, index, known, imports=imports, other=other, look_into_files=everywhere)
    return made if undone or made.cuts or made.left else None


def known_to_both(
    log: Log, index: Index, other: Log, theirs: Index
) -> tuple[forgetting.Told, set[str]]:
    """What was forgotten in either of two logs, and the digests of the tracks and files that are
    not to be copied from the other."""
    ids = forgetting.ids(index), forgetting.ids(theirs)
    if not ids[0] and not ids[1]:
        return forgetting.Told(), set()
    known = forgetting.told([*log.some(ids[0]), *other.some(ids[1])])
    imports = together([index, theirs]).imports
    made = plan(log, index, known, imports=imports, other=other, look_into_files=True)
    cuts = (*known.cuts, *made.cuts)
    gone = {c.fixes for c in cuts if c.rest} | {c.file_digest for c in cuts}
    return known, gone
