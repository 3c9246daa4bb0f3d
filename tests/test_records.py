"""Dataclasses of our own do what the standard library's do."""

from __future__ import annotations

import dataclasses
import pickle
from collections.abc import Callable
from typing import Any, ClassVar

import pytest

from oplog import records


def both(**how: bool) -> list[type[Any]]:
    """The same class, made by the standard library and by ours."""

    def plain() -> type[Any]:
        class Thing:
            """A thing."""

            KIND: ClassVar[str] = "thing"
            name: str
            width_m: float = 3.0
            parts: list[str] = dataclasses.field(default_factory=list)

            def __post_init__(self) -> None:
                self.__dict__["was_made"] = True

        return Thing

    return [dataclasses.dataclass(**how)(plain()), records.dataclass(**how)(plain())]


HOW = [{}, {"frozen": True}, {"frozen": True, "eq": False}, {"slots": False, "eq": False}]


@pytest.mark.parametrize("how", HOW, ids=str)
def test_they_do_what_the_standard_librarys_do(how: dict[str, bool]) -> None:
    for act in (
        lambda c: repr(c("a", 2.0, ["b"])),
        lambda c: repr(c(name="a")),
        lambda c: repr(c("a", parts=["b"])),
        lambda c: c("a").parts is c("a").parts,
        lambda c: c("a").was_made,
        lambda c: repr(dataclasses.replace(c("a"), width_m=4.0)),
        lambda c: dataclasses.asdict(c("a")),
        lambda c: [(f.name, f.type) for f in dataclasses.fields(c)],
        lambda c: c.__annotations__,
        lambda c: (c("a") == c("a"), c("a") == c("b"), c("a") == "a", c("a") != c("a", 4.0)),
        lambda c: c.__hash__ is None,
        lambda c: c.__match_args__,
        lambda c: c("a").__doc__,
    ):
        theirs, ours = (act(c) for c in both(**how))
        assert ours == theirs


@pytest.mark.parametrize("how", HOW, ids=str)
@pytest.mark.parametrize(
    "act",
    [
        lambda c: c(),
        lambda c: c("a", 2.0, [], 1),
        lambda c: c("a", name="b"),
        lambda c: c("a", length_m=2.0),
        lambda c: hash(c("a", 2.0, ())) and None,
        lambda c: setattr(c("a"), "name", "b"),
        lambda c: delattr(c("a"), "name"),
    ],
)
def test_they_refuse_what_the_standard_librarys_refuse(
    act: Callable[[type[Any]], object], how: dict[str, bool]
) -> None:
    theirs, ours = (failure(act, c) for c in both(**how))
    assert ours == theirs


def failure(act: Callable[[type[Any]], object], of: type[Any]) -> type[BaseException] | None:
    try:
        act(of)
    except Exception as error:
        return type(error)
    return None


@records.dataclass(frozen=True)
class Sent:
    width_m: float
    name: str = "a"


def test_they_go_to_other_processes_and_into_sets() -> None:
    sent = pickle.loads(pickle.dumps(Sent(3.0)))
    assert sent == Sent(3.0, "a")
    assert {sent, Sent(3.0), Sent(4.0)} == {Sent(4.0), Sent(3.0)}
    assert Sent.__doc__
