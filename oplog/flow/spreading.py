"""Work spread over the cores of the processor: results in the order of the tasks, the same as if
they were done one by one, and no more tasks in hand at a time than keep the cores busy."""

from __future__ import annotations

import gc
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any, TypeVar

from oplog.flow.heap import keep_freed

if TYPE_CHECKING:
    from concurrent.futures import Future, ProcessPoolExecutor

FEWEST = 4
"""With fewer tasks than this, processes of their own take longer to start than they save."""

MOST = 4
"""More processes than this would want more memory than an old laptop has."""

MOST_BYTES = 128 << 20
"""No further task is begun while those in hand are as large as this."""

AHEAD = 2
"""So many tasks are handed out for each process: with one more than there are processes, those
wait for a long task whose turn it is (days of 2 to 8 h in turn: 2.7 % of the time)."""

_NONE: Any = object()

T = TypeVar("T")
R = TypeVar("R")
Spread = Callable[[Callable[[T], R], Iterable[T]], Iterator[tuple[T, R]]]
"""Does some work on each task and gives each task with its result, in the order of the tasks."""


def one_by_one(work: Callable[[T], R], tasks: Iterable[T]) -> Iterator[tuple[T, R]]:
    """Each task in turn, in this process."""
    for task in tasks:
        yield task, work(task)


def cores() -> int:
    """How many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@contextmanager
def over_cores(count: int | None = None) -> Iterator[Spread[Any, Any]]:
    """A way to do work in `count` processes (one a core, where it is not said), which are started
    when there is enough to do and end with the `with`.

    Only for programs whose main module may be loaded again without doing anything, as those of
    `multiprocessing` that start new interpreters; ours may. Work and tasks are handed to other
    processes: functions of modules, and what can be pickled. What a task raises is raised here,
    when its turn comes.
    """
    keep_freed()
    processes = min(count or cores(), MOST)
    pool: list[ProcessPoolExecutor] = []

    def spread(work: Callable[[T], R], tasks: Iterable[T]) -> Iterator[tuple[T, R]]:
        rest = iter(tasks)
        first: deque[T] = deque()
        for task in rest if processes > 1 else ():
            first.append(task)
            if len(first) >= FEWEST or _size(first) >= MOST_BYTES:
                break
        waiting = _emptied(first, rest)
        if len(first) < FEWEST and not (len(first) > 1 and _size(first) >= MOST_BYTES):
            return one_by_one(work, waiting)
        if not pool:
            pool.append(_started(processes))
        return _in_order(pool[0], work, waiting, AHEAD * processes)

    try:
        yield spread
    except BaseException:
        _ended(pool, at_once=True)
        raise
    _ended(pool, at_once=False)


def _in_order(
    pool: ProcessPoolExecutor, work: Callable[[T], R], tasks: Iterator[T], ahead: int
) -> Iterator[tuple[T, R]]:
    """Results in order, with `ahead` tasks handed out. Where a process is gone (for want of memory,
    or someone ended it), the rest is done in this one."""
    from concurrent.futures import BrokenExecutor

    handed_out: deque[tuple[T, Future[R] | None]] = deque()
    while True:
        while len(handed_out) < ahead and _size(t for t, _ in handed_out) < MOST_BYTES:
            task = next(tasks, _NONE)
            if task is _NONE:
                break
            handed_out.append((task, _submitted(pool, work, task)))
        if not handed_out:
            return
        task, future = handed_out.popleft()
        try:
            result = future.result() if future else work(task)
        except BrokenExecutor:
            result = work(task)
        yield task, result


def _emptied(first: deque[T], rest: Iterator[T]) -> Iterator[T]:
    """What was taken and then the rest, without keeping what is given."""
    while first:
        yield first.popleft()
    yield from rest


def _size(tasks: Iterable[Any]) -> int:
    """Bytes of those tasks that are files with their names. [byte]"""
    return sum(len(t[1]) for t in tasks if isinstance(t, tuple))


def _submitted(pool: ProcessPoolExecutor, work: Callable[[T], R], task: T) -> Future[R] | None:
    from concurrent.futures import BrokenExecutor

    with suppress(BrokenExecutor), _no_interrupts():
        return pool.submit(work, task)
    return None


def _started(processes: int) -> ProcessPoolExecutor:
    # New interpreters everywhere: what was forked from a process with threads (Arrow has some) may
    # hang, and so all systems behave alike.
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    return ProcessPoolExecutor(
        processes, get_context("spawn"), initializer=_begin, initargs=(gc.get_threshold()[0],)
    )


def _ended(pool: list[ProcessPoolExecutor], at_once: bool) -> None:
    for one in pool:
        running = list((getattr(one, "_processes", None) or {}).values())
        one.shutdown(wait=False, cancel_futures=True)
        for process in running if at_once else []:
            process.terminate()


@contextmanager
def _no_interrupts() -> Iterator[None]:
    """Processes started within take no notice of Ctrl-C from their first moment; one that comes
    meanwhile reaches this process afterwards. Windows knows no such thing (see _begin)."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _begin(collect_after: int) -> None:
    """What each process does first: leave Ctrl-C to the one that started it, and end with it; and
    look for circles among its objects as seldom (Python's own 700 cost a tenth of the time)."""
    from multiprocessing import parent_process

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    gc.set_threshold(collect_after)
    keep_freed()
    parent = parent_process()
    if parent is None:
        return

    def end_with_it() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=end_with_it, daemon=True).start()
