"""What libraries load and a command never uses: an import hook leaves it out.

Pandas and the file stores of the network are loaded by Arrow where they are there, the first merely
to see whether what it is given is made of it. NumPy loads its masked arrays to see whether an array
is one, which takes a twentieth of the time of an import; its names of types, of which only one is
used, a fortieth; its help texts, for those who type at a prompt, as much. Arrow asks OpenSSL where
certificates lie, for the stores of the network, and loads sockets to look for a free port one day.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from importlib import import_module
from importlib.machinery import ModuleSpec
from types import GenericAlias, ModuleType, SimpleNamespace
from typing import Any, TypeVar

UNUSED = ("pandas", *(f"pyarrow._{store}fs" for store in ("azure", "gcs", "hd", "s3")))
"""What is taken as not being there."""

TOLD = ("numpy._core._add_newdocs", "numpy._core._add_newdocs_scalars")
"""Modules that do nothing but give NumPy's functions their help texts."""

_ScalarType = TypeVar("_ScalarType")


def _no_masks() -> dict[str, Any]:
    """What is asked about masks of every array, while nobody has made one that has any."""

    def has_none(array: object) -> bool:
        return False

    return {
        "MaskedArray": type("MaskedArray", (), {}),
        "is_masked": has_none,
        "isMaskedArray": has_none,
    }


def _one_type() -> dict[str, Any]:
    """The type of arrays, by which ours are called."""
    core: Any = sys.modules["numpy._core"]
    return {"NDArray": GenericAlias(core.ndarray, (tuple[Any, ...], core.dtype[_ScalarType]))}


def _no_certificates() -> dict[str, Any]:
    """Where certificates lie: nowhere that anything would look."""
    paths = SimpleNamespace(cafile=None, capath=None)
    return {"get_default_verify_paths": lambda: paths}


def _nothing() -> dict[str, Any]:
    """What is loaded and asked nothing."""
    return {}


STOOD_IN_FOR: dict[str, Callable[[], dict[str, Any]]] = {
    "numpy.ma": _no_masks,
    "numpy._typing": _one_type,
    "numpy.typing": _one_type,
    "ssl": _no_certificates,
    "socket": _nothing,
}
"""Packages of which a few names are enough nearly always, and what makes these."""


class Without:
    """An import hook that does not find what is never used. asked_for: packages that somebody did
    ask more of than what stands in for them can answer."""

    def __init__(self) -> None:
        self.asked_for: set[str] = set()

    def find_spec(
        self, name: str, path: Sequence[str] | None = None, target: object = None
    ) -> ModuleSpec | None:
        """Raises: ImportError for what is never used."""
        if name in UNUSED:
            raise ImportError(name)
        if name in TOLD:
            return ModuleSpec(name, self)  # type: ignore[arg-type]
        package, _, part = name.rpartition(".")
        if package in STOOD_IN_FOR:
            _itself(self, package)
        if name not in STOOD_IN_FOR or name in self.asked_for:
            return None
        spec = ModuleSpec(name, self, is_package=True)  # type: ignore[arg-type]
        spec.submodule_search_locations = [os.path.join(p, part) for p in path or ()]
        return spec

    def create_module(self, spec: ModuleSpec) -> ModuleType | None:
        """What stands in for a package; an empty module for all else."""
        return _StandIn(spec.name, hook=self) if spec.name in STOOD_IN_FOR else None

    def exec_module(self, module: ModuleType) -> None:
        """There is nothing to run."""


class _StandIn(ModuleType):
    """Stands in for a package and answers what is asked of it nearly always. Whoever asks for
    anything else is given the package itself, as is all from then."""

    def __init__(self, name: str, hook: Without) -> None:
        super().__init__(name)
        self._hook = hook
        vars(self).update(STOOD_IN_FOR[name]())

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__"):
            raise AttributeError(name)
        return getattr(_itself(self._hook, self.__name__), name)


def _itself(hook: Without, package: str) -> ModuleType:
    """A package itself, put in the place of what stands in for it."""
    if isinstance(sys.modules.get(package), _StandIn):
        hook.asked_for.add(package)
        del sys.modules[package]
        import_module(package)
    return sys.modules[package]
