"""Every write, flush and rename fails in turn, by an error, a full disk, a torn write or a power
cut: the log then holds what it held before, or all of the new, and is never damaged.

The power cut is simulated: what was written and not flushed is lost or torn, and a rename whose
folder was not flushed may or may not have happened. Both are tried.
"""

from __future__ import annotations

import errno
import os
import shutil
import types
from collections.abc import Callable
from pathlib import Path

import pytest

from oplog import log
from oplog.errors import CannotWrite
from oplog.log import disk
from tests.logs import imported, meaning, measured, new_log, note, own_configuration, with_import

__all__ = ["own_configuration"]


class PowerCut(BaseException):
    """The machine is off: nothing after this runs."""


class Disk:
    """Stands between the log and the operating system, and fails at one step.

    fail_at: number of the step that fails, from 0; None for none. how: "full" (nothing of it is
    done), "torn" (half of the bytes are written, then an error) or "power".
    """

    def __init__(self, fail_at: int | None, how: str) -> None:
        self.fail_at, self.how = fail_at, how
        self.steps = 0
        self.off = False
        self.unflushed: set[Path] = set()
        self.renames: list[tuple[Path, Path, bytes | None]] = []
        self.handles: dict[int, Path] = {}

    def step(self, half: Callable[[], None] = lambda: None) -> None:
        number, self.steps = self.steps, self.steps + 1
        if number != self.fail_at:
            return
        if self.how == "power":
            half()
            self.off = True
            raise PowerCut
        if self.how == "torn":
            half()
        code = errno.ENOSPC if self.how == "full" else errno.EIO
        raise OSError(code, os.strerror(code))

    def open(self, path: Path, mode: str, buffering: int) -> File:
        self.step()
        file = Path(path).open(mode, buffering=buffering)  # noqa: SIM115 - closed by File
        self.unflushed.add(Path(path))
        self.handles[file.fileno()] = Path(path)
        return File(self, file, Path(path))

    def os_open(self, path: Path, flags: int) -> int:
        handle = os.open(path, flags)
        self.handles[handle] = Path(path)
        return handle

    def fsync(self, handle: int) -> None:
        path = self.handles[handle]
        self.step()
        os.fsync(handle)
        self.unflushed.discard(path)
        self.renames = [r for r in self.renames if r[1].parent != path]

    def replace(self, source: Path, target: Path) -> None:
        self.step()
        before = Path(target).read_bytes() if Path(target).exists() else None
        os.replace(source, target)
        self.renames.append((Path(source), Path(target), before))
        if Path(source) in self.unflushed:
            self.unflushed.remove(Path(source))
            self.unflushed.add(Path(target))

    def unlink(self, path: Path) -> None:
        if self.off:
            raise PowerCut
        os.unlink(path)

    def cut(self, renames_last: bool) -> None:
        """What the power cut leaves on the disk."""
        if not renames_last:
            for source, target, before in reversed(self.renames):
                os.replace(target, source)
                if before is not None:
                    target.write_bytes(before)  # a rename that did not happen took nothing's place
                if target in self.unflushed:
                    self.unflushed.remove(target)
                    self.unflushed.add(source)
        for path in self.unflushed:
            if path.exists():
                os.truncate(path, path.stat().st_size // 2)


class File:
    """An open file that may fail."""

    def __init__(self, disk: Disk, file, path: Path) -> None:
        self.disk, self.file, self.path = disk, file, path

    def __enter__(self) -> File:
        return self

    def __exit__(self, *_: object) -> None:
        self.file.close()

    def fileno(self) -> int:
        return self.file.fileno()

    def write(self, data: memoryview) -> int:
        self.disk.step(lambda: self.file.write(data[: len(data) // 2]))
        return self.file.write(data)


def install(monkeypatch: pytest.MonkeyPatch, faulty: Disk) -> None:
    real = {k: v for k, v in vars(os).items() if not k.startswith("__")}
    wanted = {
        "fsync": faulty.fsync,
        "replace": faulty.replace,
        "unlink": faulty.unlink,
        "open": faulty.os_open,
    }
    monkeypatch.setattr(disk, "os", types.SimpleNamespace(**(real | wanted)))
    monkeypatch.setattr(disk, "open", faulty.open, raising=False)


def append_an_import(made: log.Log) -> None:
    event, drive, data = imported(2)
    made.append([event, measured(2)], fixes={event.fixes: drive}, raw={event.file_digest: data})


def tidy(made: log.Log) -> None:
    made.tidy()


def merge(made: log.Log) -> None:
    made.merge(log.open_log(made.path.parent / "other"))


def before(folder: Path) -> log.Log:
    """A log with a few entries, and another one of the same farm beside it."""
    other = with_import(folder / "other", 3)
    other.append([note("there")])
    made = with_import(folder / "log", 1)
    for text in "ab":
        made.append([note(text)])
    return made


def copied(folder: Path, to: Path) -> log.Log:
    """A copy of those two logs."""
    shutil.copytree(folder, to)
    return log.open_log(to / "log")


def outcome(folder: Path, act: Callable[[log.Log], None]) -> tuple[dict, dict]:
    """What the log holds before and after an act that goes well."""
    made = copied(folder, folder.parent / "well")
    old = meaning(made.events())
    act(made)
    return old, meaning(log.open_log(made.path).events())


ACTS = [append_an_import, tidy, merge]


@pytest.mark.parametrize("act", ACTS)
@pytest.mark.parametrize("how", ["full", "torn"])
def test_an_error_leaves_the_old_state_and_no_litter(act, how, tmp_path, monkeypatch):
    before(tmp_path / "first")
    old, new = outcome(tmp_path / "first", act)
    failed = 0
    for fail_at in range(200):
        made = copied(tmp_path / "first", tmp_path / str(fail_at))
        faulty = Disk(fail_at, how)
        with monkeypatch.context() as patched:
            install(patched, faulty)
            said = ""
            try:
                act(made)
            except CannotWrite as error:
                failed += 1
                said = str(error)
        assert ("disk is full" in said) == (how == "full" and said != "")
        assert faulty.steps > 0
        if faulty.steps <= fail_at:
            break
        held = meaning(log.open_log(made.path).events())
        assert held in (old, new)
        assert not list(made.path.rglob(f"*{disk.ASIDE}"))
        assert not log.check(made.path).damaged, log.check(made.path).findings
        act(made)
        assert meaning(log.open_log(made.path).events()) == new
        assert not log.check(made.path).damaged, log.check(made.path).findings
    else:
        pytest.fail("the act has more than 200 steps")
    assert failed == fail_at > 3, "every failing step must have been reported"
    assert meaning(log.open_log(made.path).events()) == new


@pytest.mark.parametrize("act", ACTS)
@pytest.mark.parametrize("renames_last", [True, False])
def test_a_power_cut_leaves_the_old_or_the_new_state(act, renames_last, tmp_path, monkeypatch):
    before(tmp_path / "first")
    old, new = outcome(tmp_path / "first", act)
    for fail_at in range(200):
        made = copied(tmp_path / "first", tmp_path / str(fail_at))
        faulty = Disk(fail_at, "power")
        acknowledged = False
        with monkeypatch.context() as patched:
            install(patched, faulty)
            try:
                act(made)
                acknowledged = True
            except PowerCut:
                pass
        faulty.cut(renames_last)
        held = meaning(log.open_log(made.path).events())
        assert held == new if acknowledged else held in (old, new)
        assert not log.check(made.path).damaged, log.check(made.path).findings
        act(log.open_log(made.path))
        assert meaning(log.open_log(made.path).events()) == new
        assert not log.check(made.path).damaged, log.check(made.path).findings
        if acknowledged:
            break
    assert fail_at > 3


def test_a_new_log_is_whole_or_is_made_again(tmp_path, monkeypatch):
    for fail_at in range(50):
        faulty = Disk(fail_at, "full")
        place = tmp_path / str(fail_at)
        with monkeypatch.context() as patched:
            install(patched, faulty)
            try:
                new_log(place)
                break
            except CannotWrite:
                pass
        made = log.open_log(place) if log.is_log(place) else new_log(place)
        assert [e.TYPE for e in meaning(made.events()).values()] == ["farm.opened"]
        assert not log.check(place).damaged or log.mend(place).after.findings == ()
    assert fail_at > 3


def test_a_configuration_that_cannot_be_written_costs_nothing(tmp_path, monkeypatch):
    (tmp_path / "a file").write_text("")
    monkeypatch.setenv("OPLOG_CONFIG", str(tmp_path / "a file" / "below"))
    made = new_log(tmp_path / "log")
    made.append([note("a")])
    assert made.append([note("b")]).number == 1
    assert log.check(made.path).findings == ()


def test_what_a_virus_scanner_holds_for_a_moment_is_renamed_in_the_end(tmp_path, monkeypatch):
    calls = []

    def blocked(source: Path, target: Path) -> None:
        calls.append(source)
        if len(calls) < 3:
            raise PermissionError(errno.EACCES, "in use")
        os.replace(source, target)

    real = {k: v for k, v in vars(os).items() if not k.startswith("__")}
    windows = types.SimpleNamespace(**(real | {"name": "nt", "replace": blocked}))
    made = new_log(tmp_path / "log")
    monkeypatch.setattr(disk, "os", windows)
    made.append([note("a")])
    assert len(calls) == 3
    assert len(meaning(log.open_log(made.path).events())) == 2


@pytest.mark.parametrize(("how", "renames_last"), [("torn", True), ("power", False)])
def test_a_mending_that_is_broken_off_loses_nothing_more(how, renames_last, tmp_path, monkeypatch):
    """What could not be read is there or set aside, what is whole is there, and the next mending
    ends where the first would have."""
    made = before(tmp_path / "first")
    files = sorted((made.path / "events").glob("*.parquet"))
    harmed = [files[0], next((made.path / "fixes").iterdir())]
    for path in harmed:
        data = bytearray(path.read_bytes())
        data[len(data) // 2] ^= 1
        path.write_bytes(data)
    broken = [p.read_bytes() for p in harmed]
    _, drive, _ = imported(1)
    well = copied(tmp_path / "first", tmp_path / "well")
    log.mend(well.path, lambda event, data: drive)
    new = meaning(log.open_log(well.path).events())
    for fail_at in range(100):
        again = copied(tmp_path / "first", tmp_path / str(fail_at))
        faulty, done = Disk(fail_at, how), False
        with monkeypatch.context() as patched:
            install(patched, faulty)
            try:
                log.mend(again.path, lambda event, data: drive)
                done = True
            except (CannotWrite, PowerCut):
                pass
        if how == "power":
            faulty.cut(renames_last)
        held = [p.read_bytes() for p in again.path.rglob("*") if p.is_file()]
        assert all(b in held for b in broken), "set aside, or where it was"
        assert meaning(log.open_log(again.path).events()) == new
        log.mend(again.path, lambda event, data: drive)
        assert meaning(log.open_log(again.path).events()) == new
        assert {f.kind for f in log.check(again.path).findings} == {
            f.kind for f in log.check(well.path).findings
        }
        if done:
            break
    assert fail_at > 3


def test_a_tidy_whose_files_another_program_holds_open_loses_nothing(tmp_path, monkeypatch):
    """Windows does not let go of a file that a reader has open: it is taken away later."""
    made = before(tmp_path / "first")
    old = meaning(made.events())

    def held_open(path: Path) -> None:
        raise PermissionError(errno.EACCES, "in use")

    real = {k: v for k, v in vars(os).items() if not k.startswith("__")}
    with monkeypatch.context() as patched:
        patched.setattr(disk, "os", types.SimpleNamespace(**(real | {"unlink": held_open})))
        made.tidy()
    again = log.open_log(made.path)
    assert meaning(again.events()) == old
    assert log.check(made.path).findings == ()
    again.tidy()
    assert len(list((made.path / "events").glob("*.parquet"))) == 1
    assert meaning(log.open_log(made.path).events()) == old
