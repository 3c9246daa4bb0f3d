"""What a visit leaves unsure comes with what to do next."""

from __future__ import annotations

import numpy as np

from oplog import flow, log
from oplog.flow import Told
from oplog.sheets.unsure import unsure_of
from tests.evening import DRILLED, in_field, now
from tests.tracks import gpx

DRILL = Told(machine="blue", implement="drill")


def told(farm: log.Log) -> str:
    return " ".join(unsure_of(now(farm), [in_field(farm, "Long Acre")]))


def test_positions_that_wander_leave_the_boundary(farm: log.Log) -> None:
    off = np.random.default_rng(1).normal(0, 0.4, (len(DRILLED), 2))
    fixes = [(t, x + dx, y + dy) for (t, x, y), (dx, dy) in zip(DRILLED, off, strict=True)]
    flow.import_file(farm, gpx(fixes), "phone.gpx", DRILL)
    assert "wander by more than a quarter of the width: take care. If the whole field" in told(farm)
    assert 'its boundary\'s area is surer: oplog field "Long Acre"' in told(farm)


def test_a_coarse_logger_can_be_set(farm: log.Log) -> None:
    flow.import_file(farm, gpx(DRILLED[::10]), "slow.gpx", DRILL)
    assert "bout ends are guessed. Set the logger to write every second or two." in told(farm)
