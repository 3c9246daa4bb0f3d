"""The command: all scenarios, all recordings, one table."""

from __future__ import annotations

import argparse
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from datetime import date
from functools import partial
from importlib.util import find_spec

from benchmarks.inference import pictures, recorded, second, table
from benchmarks.inference.simulated import Row, compare, measured, told
from tests.simulator.scenarios import SCENARIOS

ASKED = ("wrong_width", "two_machines_one_file")
"""Scenarios that ask for a warning."""

Told = list[tuple[str, bool, str]]
Job = tuple[str, int, bool]


def run_one(job: Job, with_pictures: bool) -> tuple[list[Row], Told]:
    """A scenario with one seed, its other days and machines too. The first seed is drawn, and
    measured by the naive methods."""
    name, seed, first = job
    whole = SCENARIOS[name](seed)
    rows: list[Row] = []
    warned: Told = []
    for k, scenario in enumerate([whole, *([] if whole.mixed else whole.also)]):
        day = measured(scenario)
        if name in ASKED:
            warned.append(told(scenario, day))
        else:
            rows += compare(scenario, seed, day, with_naive=first)
        if first and with_pictures and k == 0:
            pictures.draw(scenario, seed, day)
    return rows, warned


def main() -> int:
    args = _arguments()
    began = time.perf_counter()
    seeds = range(args.first_seed, args.first_seed + args.seeds)
    if args.second:
        return _by_another_hand(seeds, args.processes)
    names = args.only or list(SCENARIOS)
    jobs = [(n, s, s == args.first_seed) for n in names for s in seeds]
    drawing = not args.no_pictures and find_spec("matplotlib") is not None
    rows: list[Row] = []
    warned: Told = []
    with ProcessPoolExecutor(args.processes) as pool:
        unstated = pool.map(partial(recorded.forage, ahead_m=None, with_naive=True), _forage(args))
        stated = pool.map(partial(recorded.forage, ahead_m=4.0), _forage(args))
        others = pool.submit(recorded.others) if not args.only else None
        for some, said in pool.map(partial(run_one, with_pictures=drawing), jobs):
            rows += some
            warned += said
        tasks, tasks_stated = list(unstated), list(stated)
        more = others.result() if others else []
    title = f"{date.today()}, {len(jobs)} scenarios (seeds {seeds[0]} to {seeds[-1]})"
    _say(title, table.figures(rows, tasks))
    _say("Recordings", table.recordings(tasks, tasks_stated, more))
    if tasks_stated:
        print(f"\nF1 pooled with the header 4 m ahead: {table.pooled(tasks_stated):.4f}")
    _say("Naive methods beside, absolute error: median / worst", table.beside(rows, tasks))
    _say("Stated 90 % ranges", table.ranges(rows))
    _say("Warnings", _warnings(warned))
    _say("Furthest out", table.worst(rows))
    print(f"\n{time.perf_counter() - began:.0f} s on {args.processes} processes")
    return 0


def _by_another_hand(seeds: range, processes: int) -> int:
    """The second simulator's days alone. Its table has no recordings, and no oracle's line."""
    jobs = [(name, seed) for name in second.names() for seed in seeds]
    with ProcessPoolExecutor(processes) as pool:
        rows = [row for some in pool.map(second.rows, jobs) for row in some]
    title = f"{date.today()}, second simulator, {len(jobs)} days (seeds {seeds[0]} to {seeds[-1]})"
    _say(title, [r for r in table.figures(rows, []) if "edges" not in r and "forage" not in r])
    _say("Stated 90 % ranges", table.ranges(rows))
    _say("Furthest out", table.worst(rows))
    return 0


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m benchmarks.inference", description=__doc__)
    parser.add_argument("--seeds", type=int, default=3, help="seeds per scenario")
    parser.add_argument("--first-seed", type=int, default=100)
    parser.add_argument("--only", nargs="+", choices=list(SCENARIOS), metavar="NAME")
    parser.add_argument("--second", action="store_true", help="days of the second simulator")
    parser.add_argument("--no-pictures", action="store_true")
    parser.add_argument("--processes", type=int, default=2)
    return parser.parse_args()


def _forage(args: argparse.Namespace) -> list[str]:
    return [] if args.only else recorded.forage_names()


def _warnings(warned: Told) -> list[str]:
    return [
        f"- {what}: {sum(ok for w, ok, _ in warned if w == what)} of "
        f"{sum(1 for w, _, _ in warned if w == what)}"
        for what in dict.fromkeys(w for w, _, _ in warned)
    ]


def _say(title: str, lines: list[str]) -> None:
    print(f"\n{title}\n", *lines, sep="\n")


if __name__ == "__main__":
    sys.exit(main())
