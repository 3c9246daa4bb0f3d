"""Who writes: identity and name, kept with the user and never in the log."""

from __future__ import annotations

import json
from pathlib import Path

from oplog import log
from oplog.log import writer
from tests.logs import new_log, note, own_configuration

__all__ = ["own_configuration"]


def test_nothing_of_the_writer_is_kept_in_the_folder_but_in_its_entries(
    tmp_path, own_configuration
):
    made = new_log(tmp_path / "log")
    assert sorted(p.name for p in made.path.iterdir()) == [
        "events",
        "fixes",
        "lock",
        "oplog.json",
        "raw",
    ]
    saved = json.loads((own_configuration / "writer.json").read_text("utf-8"))
    (known,) = saved["writers"].values()
    assert known["number"] == 1


def test_one_user_has_an_identity_for_each_place_of_a_log(tmp_path):
    first, second = new_log(tmp_path / "a"), new_log(tmp_path / "b")
    one, other = writer.recall(first.path), writer.recall(second.path)
    assert one is not None
    assert other is not None
    assert one.id != other.id
    first.append([note("a")])
    again = writer.recall(first.path)
    assert again is not None
    assert (again.id, again.number) == (one.id, 2)


def test_the_name_is_the_users_own_choice(own_configuration, monkeypatch):
    monkeypatch.setenv("LOGNAME", "ann")
    assert log.writer_name() == "ann"
    own_configuration.mkdir()
    (own_configuration / "writer.json").write_text('{"name": " Ann Hill "}', "utf-8")
    assert log.writer_name() == "Ann Hill"


def test_a_broken_configuration_begins_anew(tmp_path, own_configuration):
    made = new_log(tmp_path / "log")
    for broken in (
        "",
        "{",
        "[]",
        '{"writers": {"x": 1}}',
        '{"writers": [1]}',
        '{"writers": {}, "name": 7}',
    ):
        (own_configuration / "writer.json").write_text(broken, "utf-8")
        assert writer.recall(made.path) is None
        assert made.append([note(broken)]).number == 1
        assert made.append([note(broken + "again")]).number == 2
    assert log.check(made.path).findings == ()


def test_what_was_found_whole_is_forgotten_with_another_version(tmp_path):
    writer.remember_verified("1", {"b", "a"})
    assert writer.verified("1") == {"a", "b"}
    assert writer.verified("2") == set()


def test_a_configuration_that_cannot_be_kept_leaves_nothing_behind(tmp_path, monkeypatch):
    blocked = tmp_path / "blocked"
    blocked.write_text("")
    monkeypatch.setenv("OPLOG_CONFIG", str(blocked))
    writer.remember(Path(tmp_path), writer.fresh())
    assert writer.recall(Path(tmp_path)) is None
    assert [p.name for p in tmp_path.iterdir()] == ["blocked"]
