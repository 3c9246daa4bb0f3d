"""Operations by their names: any name may be one, but not a slip of the pen for one in use."""

from __future__ import annotations

from oplog.errors import UnknownName
from oplog.fold import Farm
from oplog.kit import OPERATION_OF

SLIP = 0.85
"""So like a known name, another is taken for a slip ("driling"; but "sowing" is no "mowing")."""


def known_operations(farm: Farm) -> set[str]:
    """Operations that kinds of implement have, kit was listed for, or work was done as; folded."""
    known = {o.casefold() for o in OPERATION_OF.values()}
    known |= {(v.operation or "").casefold() for v in farm.visits}
    known |= {(k.operation or "").casefold() for versions in farm.kit.values() for k in versions}
    return known - {""}


def refuse_slips(farm: Farm, operation: str) -> None:
    """Raises: UnknownName for an operation that is almost, but not quite, one that is known. A
    price or a job for it would fit no work ever."""
    known = known_operations(farm)
    name = operation.strip().casefold()
    from difflib import get_close_matches

    near = get_close_matches(name, known, n=2, cutoff=SLIP)
    if near and name not in known:
        raise UnknownName("operation", operation, near)
