"""What libraries load and a command never uses: an import hook leaves it out.

Pandas and the file stores of the network are loaded by Arrow where they are there, the first merely
to see whether what it is given is made of it. NumPy's masked arrays are loaded to see whether an
array is one, and take a twentieth of the time of an import.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from importlib import import_module
from importlib.machinery import ModuleSpec
from types import ModuleType
from typing import Any

UNUSED = ("pandas", *(f"pyarrow._{store}fs" for store in ("azure", "gcs", "hd", "s3")))
"""What is taken as not being there."""

MASKED = "numpy.ma"


class Without:
    """An import hook that does not find what is never used."""

    def find_spec(
        self, name: str, path: Sequence[str] | None = None, target: object = None
    ) -> ModuleSpec | None:
        """Raises: ImportError for what is never used."""
        if name in UNUSED:
            raise ImportError(name)
        if name.startswith(f"{MASKED}."):
            _masked_arrays(self)
        if name != MASKED:
            return None
        spec = ModuleSpec(name, self, is_package=True)  # type: ignore[arg-type]
        spec.submodule_search_locations = [os.path.join(p, "ma") for p in path or ()]
        return spec

    def create_module(self, spec: ModuleSpec) -> ModuleType:
        """The one module that another stands in for."""
        return _NoMasks(spec.name, hook=self)

    def exec_module(self, module: ModuleType) -> None:
        """There is nothing to run."""


class _NoMasks(ModuleType):
    """Stands in for NumPy's masked arrays while nobody has made one, and answers what is asked of
    every array. Whoever asks for anything else is given the module itself, as is all from then."""

    def __init__(self, name: str, hook: Without) -> None:
        super().__init__(name)
        self._hook = hook
        self.MaskedArray = type("MaskedArray", (), {})
        self.is_masked = self.isMaskedArray = lambda array: False

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__"):
            raise AttributeError(name)
        return getattr(_masked_arrays(self._hook), name)


def _masked_arrays(hook: Without) -> ModuleType:
    """NumPy's masked arrays themselves, put in the place of what stands in for them."""
    if isinstance(sys.modules.get(MASKED), _NoMasks):
        sys.meta_path.remove(hook)
        del sys.modules[MASKED]
        try:
            import_module(MASKED)
        finally:
            sys.meta_path.insert(0, hook)
    return sys.modules[MASKED]
