"""Ground covered over days and machines: what is done, what is left, and what passes there were.

Worked out when the log is read, from the ground that each visit worked. For every operation, crop,
harvest year and field:

Passes. A visit goes to the first pass of which it repeats less than half (`REPEATED`): a visit
more than half of whose ground was worked before, by earlier visits, goes over it again. Such a
second pass counts as one once it covers more than half (`FULL_COVERING`) of the ground of the pass
before; until then its visits are overlap within that pass (a corner drilled again, a headland gone
over twice). Overlap within one visit is never a pass.

Done. Ground of a pass, counted once. Seams between visits (where one day's work met the next) are
closed where they are narrower than the noise of the tracks explains.

Croppable. What the outermost bouts enclose, so that a margin left on purpose does not hold a
finished field at 97 %. They enclose it when, along the outline of the work, no bouts end with more
than half a width of ground beyond them, and no undone ground wider than a margin
(`WIDEST_MARGIN_M`) lies outside. While that is not so the field is part-done, and its croppable
ground is the boundary, less the margin that another operation's outermost bouts have shown.

Left and missed. Croppable ground not done is left where it is wider than half a width (and than
twice the noise of the tracks), else missed. Once less than a hundredth (`FINISHED`) is left, the
field is finished: nothing is left, and what was not worked is missed.

These shares are common practice; no source. Names in capitals are in covering.py and outline.py.
What covers ground is imported when it is first asked for: to say where work was takes none of it.
"""

from typing import TYPE_CHECKING, Any

from oplog.ground.waiting import NewGround, boundary_of, ground_of, place_name, waiting

__all__ = [
    "Covered", "NewGround", "boundary_of", "covered", "ground_of", "place_name", "waiting",
]  # fmt: skip

if TYPE_CHECKING:
    from oplog.ground.covering import Covered, covered


def __getattr__(name: str) -> Any:
    if name not in ("Covered", "covered"):
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from oplog.ground import covering

    return getattr(covering, name)
