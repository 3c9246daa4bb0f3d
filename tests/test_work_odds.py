"""How likely a run was told wrong, and what that does to the ranges."""

from __future__ import annotations

import numpy as np
import pytest

from oplog.work.certainty import hours_range
from oplog.work.odds import Misled, Told, merged, misled, nothing, odds_of_runs


def told(*runs: tuple[int, bool, float]) -> Told:
    """Runs of so many seconds, whether they are work, and the odds that they are not."""
    run = np.repeat(np.arange(1, len(runs) + 1), [s for s, _, _ in runs])
    work, odds = (np.array([r[k] for r in runs])[run - 1] for k in (1, 2))
    return Told(work.astype(bool), run, odds.astype(float), np.ones(len(run)))


@pytest.mark.parametrize(
    ("nats", "work", "odds"), [(-0.8, False, 0.5), (-3.0, False, 0.1), (0.0, True, 0.1)]
)
def test_the_evidence_is_worth_less_than_it_says(nats: float, work: bool, odds: float) -> None:
    """1 / (1 + e^2.2) is a tenth."""
    run = np.repeat([0, 1], [20, 40])
    score = np.where(run > 0, nats, -1.0)
    found = odds_of_runs(score, (run > 0) & work, run)
    assert found[run == 1] == pytest.approx(odds, abs=0.001)
    assert not found[run == 0].any()


def test_sure_runs_and_those_of_a_few_seconds_are_in_no_doubt() -> None:
    run = np.repeat([1, 2], [40, 9])
    score = np.repeat([-5.0, -0.1], [40, 9])
    assert not odds_of_runs(score, np.zeros(49, dtype=bool), run).any()


def test_one_run_that_may_be_work_is_all_in_doubt_and_of_many_bouts_few_are_none() -> None:
    one = misled(told((100, True, 0.0), (60, False, 0.4)), np.ones(160))
    assert one == Misled(0.0, 60.0)
    bouts = misled(told(*[(100, True, 0.1)] * 25), np.ones(2500))
    assert bouts.less == pytest.approx(1.64 * 0.3 * 100 * 5)
    assert bouts.more == 0.0


def test_runs_that_may_be_told_wrong_widen_the_range_to_the_side_on_which_they_may() -> None:
    sure, unsure = (hours_range(3600.0, 40, 1.0, 0.05, wrong_s=w) for w in (
        Misled(0.0, 0.0), Misled(0.0, 300.0),
    ))  # fmt: skip
    assert unsure.low == sure.low
    assert unsure.high == pytest.approx(3600 + np.hypot(sure.high - 3600, 300))


def test_what_is_told_of_two_parts_of_a_path_keeps_its_runs_apart() -> None:
    chosen = np.array([False, True, True, False, True])
    whole = merged(chosen, told((3, True, 0.2)), told((1, False, 0.3), (1, True, 0.0)))
    assert whole.work.tolist() == [False, True, True, True, True]
    assert whole.run.tolist() == [2, 1, 1, 3, 1]
    assert whole.odds.tolist() == [0.3, 0.2, 0.2, 0.0, 0.2]
    assert misled(nothing(4), np.ones(4)) == Misled(0.0, 0.0)
