"""Ground once worked out, kept as bytes under a name that tells what it was worked out from.

The name is a digest of the ids of the visits and of the field's drawing, so that what is kept can
never be out of date, only unused; throwing it away costs time and nothing else.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

import shapely

from oplog.events import WorkMeasured
from oplog.records import dataclass

METHOD = "ground 1"
"""Changed whenever any figure or shape of this room changes."""


@dataclass(frozen=True, eq=False)
class Kept:
    """Figures and shapes of one thing. shapes: WKB by name, read when they are asked for."""

    figures: Mapping[str, Any]
    shapes: Mapping[str, bytes]

    def shape(self, name: str) -> Any:
        """A geometry."""
        return shapely.from_wkb(self.shapes[name])


def name_of(*parts: object) -> str:
    """The name of what follows from some ids and figures."""
    text = json.dumps([METHOD, *parts], ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def of_visits(visits: Sequence[WorkMeasured]) -> list[str]:
    """Ids of visits in their order."""
    return [v.event_id for v in visits]


def encode(things: Sequence[Kept]) -> bytes:
    """Things as bytes: a line of JSON, then the shapes one after the other."""
    head = [
        {"figures": dict(t.figures), "shapes": {k: len(v) for k, v in t.shapes.items()}}
        for t in things
    ]
    body = b"".join(v for t in things for v in t.shapes.values())
    return json.dumps(head).encode() + b"\n" + body


def decode(data: bytes | None) -> list[Kept] | None:
    """The things of some bytes; None where they are not what `encode` made."""
    if data is None:
        return None
    head, _, body = data.partition(b"\n")
    found, at = [], 0
    try:
        for thing in json.loads(head):
            shapes = {}
            for key, size in thing["shapes"].items():
                shapes[key] = body[at : at + size]
                at += size
            found.append(Kept(thing["figures"], shapes))
    except (ValueError, TypeError, KeyError):
        return None
    return found if at == len(body) else None
