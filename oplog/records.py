"""Dataclasses as the standard library makes them, but for the time that it takes.

A class is made whenever the tool starts, and the standard library writes and compiles three to
six methods for each: of a hundred classes that is a twentieth of the time of an import. Here all
of them share a few methods that go by the names of the columns.
"""

from __future__ import annotations

import dataclasses
import inspect
from collections.abc import Callable
from dataclasses import MISSING, FrozenInstanceError, fields
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dataclasses import dataclass as dataclass
else:

    def dataclass(cls=None, /, *, frozen: bool = False, eq: bool = True, slots: bool = False):
        """What `dataclasses.dataclass` makes of the same words, which makes those with slots."""
        if cls is None:
            return lambda cls: dataclass(cls, frozen=frozen, eq=eq, slots=slots)
        if slots:
            return dataclasses.dataclass(cls, frozen=frozen, eq=eq, slots=True)
        shared = {"__init__": _init, "__repr__": _repr}
        if frozen:
            shared |= {"__setattr__": _refuse_to_set, "__delattr__": _refuse_to_delete}
        if eq:
            shared |= {"__eq__": _eq, "__hash__": _hash if frozen else None}
        for name, method in shared.items():
            if name not in vars(cls):
                setattr(cls, name, method)
        # One without a word gets its signature for one, which takes as long as all the rest.
        cls.__doc__ = cls.__doc__ or cls.__name__
        made = _with_fields(cls)
        made.__record__ = _columns(made)
        return made


def _with_fields(cls: type[Any]) -> type[Any]:
    """The class with its fields as the standard library notes them. That looks three times at each
    type that is written as text, in case it means something other than a column: not asked of what
    cannot, which is half of the time."""
    stated = inspect.get_annotations(cls)
    plain = {n: t for n, t in stated.items() if isinstance(t, str) and not _may_be_other(t)}
    cls.__annotations__ = {n: object if n in plain else t for n, t in stated.items()}
    made = dataclasses.dataclass(init=False, repr=False, eq=False)(cls)
    cls.__annotations__ = stated
    for name, told in plain.items():
        made.__dataclass_fields__[name].type = told
    return made


def _may_be_other(told: str) -> bool:
    """Whether a type may be a ClassVar, an InitVar or the mark of those given by name only."""
    return "Var" in told or "KW_ONLY" in told


def _columns(
    cls: type[Any],
) -> tuple[tuple[str, ...], dict[str, Any], dict[str, Callable[[], Any]], bool]:
    """Names of a record's columns, what holds for those not given, and whether more is done."""
    every = fields(cls)
    return (
        tuple(f.name for f in every),
        {f.name: f.default for f in every if f.default is not MISSING},
        {f.name: f.default_factory for f in every if f.default_factory is not MISSING},
        hasattr(cls, "__post_init__"),
    )


def _init(self: Any, /, *values: Any, **named: Any) -> None:
    names, defaults, factories, more = self.__record__
    given = dict(zip(names, values, strict=False))
    if len(values) > len(names) or given.keys() & named.keys():
        raise TypeError(f"{type(self).__qualname__}() takes {', '.join(names)}, once each")
    given.update(named)
    if len(given) < len(names):
        made = {name: make() for name, make in factories.items() if name not in given}
        given = defaults | made | given
    if given.keys() != set(names):
        wrong = ", ".join(sorted(given.keys() ^ set(names)))
        raise TypeError(f"{type(self).__qualname__}(): missing or unknown: {wrong}")
    self.__dict__.update(given)
    if more:
        self.__post_init__()


def _repr(self: Any) -> str:
    held = ", ".join(f"{name}={getattr(self, name)!r}" for name in self.__record__[0])
    return f"{type(self).__qualname__}({held})"


def _values(self: Any) -> tuple[Any, ...]:
    return tuple(getattr(self, name) for name in self.__record__[0])


def _eq(self: Any, other: object) -> Any:
    return _values(self) == _values(other) if other.__class__ is self.__class__ else NotImplemented


def _hash(self: Any) -> int:
    return hash(_values(self))


def _refuse_to_set(self: Any, name: str, value: object) -> None:
    raise FrozenInstanceError(f"cannot assign to field {name!r}")


def _refuse_to_delete(self: Any, name: str) -> None:
    raise FrozenInstanceError(f"cannot delete field {name!r}")
