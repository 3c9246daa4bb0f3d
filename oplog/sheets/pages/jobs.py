"""Jobs as a page shows them: a line with a bar each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from oplog.fold import Farm
from oplog.query import ask, records
from oplog.records import dataclass
from oplog.sheets import figures as fig
from oplog.sheets.table import METRIC
from oplog.units import HECTARE_M2


@dataclass(frozen=True)
class JobLine:
    """A job in words, and the length of its bar. [%]"""

    job: str
    operation: str
    area: str
    done: str
    left: str
    percent: str
    length: float
    by: str
    state: str


def job_lines(farm: Farm, names: Iterable[str], system: str = METRIC) -> list[JobLine]:
    """How far the named jobs have got, by all that the log holds; figures as `oplog jobs`."""
    wanted = {n.casefold() for n in names}
    rows = records(ask(farm, "jobs", {})) if wanted else []
    return [job_line(row, system) for row in rows if row["job"].casefold() in wanted]


def job_line(row: Mapping[str, Any], system: str = METRIC) -> JobLine:
    """A row of the question `jobs` in words."""
    area_m2, done_m2, left_m2 = (
        None if row[c] is None else row[c] * HECTARE_M2 for c in ("area_ha", "done_ha", "left_ha")
    )
    percent = row["percent"]
    length = min(max(percent or 0.0, 0.0), 100.0)
    return JobLine(
        job=row["job"],
        operation=row["operation"],
        area=fig.area(area_m2, system),
        done=fig.area(done_m2, system),
        left=fig.area(left_m2, system),
        percent="?" if percent is None else fig.share(percent, 100.0),
        length=round(length, 1),
        by=row["by"].isoformat() if row["by"] else "",
        state=row["state"],
    )
