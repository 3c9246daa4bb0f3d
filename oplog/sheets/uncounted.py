"""Work that no season has, as no crop is stated for its ground: said beside every season, so that
a season's sheet does not leave it out in silence."""

from __future__ import annotations

from collections.abc import Sequence

from oplog.events import WorkMeasured
from oplog.fold import Farm
from oplog.ground import place_name
from oplog.sheets import figures as fig
from oplog.sheets.table import METRIC

FEW = 4
"""So many places are named."""

TO_COUNT = "oplog land crop FIELD CROP --harvest YEAR"
"""Makes work in a field count to a season."""


def newest_season(farm: Farm) -> int | None:
    """The latest harvest year that work counts to."""
    return max((y for s in farm.standing.values() if (y := s.harvest_year)), default=None)


def without_harvest(farm: Farm, year: int | None) -> list[WorkMeasured]:
    """Work that counts to no harvest; of the two calendar years up to a harvest, where one is
    given."""
    return [
        v
        for v in farm.visits
        if v.working_s > 0
        and farm.standing[v.event_id].harvest_year is None
        and (year is None or v.day.year in (year - 1, year))
    ]


def uncounted(farm: Farm, year: int | None, system: str = METRIC) -> str:
    """A sentence on the work that counts to no harvest; "" where there is none."""
    visits = without_harvest(farm, year)
    if not visits:
        return ""
    area = fig.area(sum(v.worked_m2 or 0.0 for v in visits), system)
    number = "1 visit" if len(visits) == 1 else f"{len(visits)} visits"
    return f"In no season: {number}, {area} in {_places(farm, visits)}; no crop is stated there."


def _places(farm: Farm, visits: Sequence[WorkMeasured]) -> str:
    names = sorted({place_name(farm, v) for v in visits})
    more = f" and {len(names) - FEW} more" if len(names) > FEW else ""
    return ", ".join(names[:FEW]) + more
