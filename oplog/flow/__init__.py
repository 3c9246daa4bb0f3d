"""The steps of an evening, as a Python API: what the commands call, without a terminal.

    new log      oplog.log.create
    land, kit    add_land, state_crop, add_kit
    a track      import_file, import_files -> read, measure, one entry
    afterwards   say, strike, plan, close
    two laptops  settle, choose
    the season   apply, plan_need, calibrate, note, plan_sequence, state_customer, state_price

Names are found when they are first used, so that asking for one does not load them all.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from oplog.flow.applying import Applied, apply, calibrate, plan_need
    from oplog.flow.choosing import choose
    from oplog.flow.importing import Imported, import_file, import_files
    from oplog.flow.jobs import close, plan
    from oplog.flow.listing import add_kit, add_land, state_crop
    from oplog.flow.measuring import measure
    from oplog.flow.remeasuring import settle
    from oplog.flow.saying import Words, say
    from oplog.flow.striking import Struck, strike
    from oplog.flow.taking import FileTaken, Told
    from oplog.flow.writing import note, plan_sequence, state_customer, state_price

_PLACES = {
    "applying": ("Applied", "apply", "calibrate", "plan_need"),
    "choosing": ("choose",),
    "importing": ("Imported", "import_file", "import_files"),
    "jobs": ("close", "plan"),
    "listing": ("add_kit", "add_land", "state_crop"),
    "measuring": ("measure",),
    "remeasuring": ("settle",),
    "saying": ("Words", "say"),
    "striking": ("Struck", "strike"),
    "writing": ("note", "plan_sequence", "state_customer", "state_price"),
    "taking": ("FileTaken", "Told"),
}
_MODULE_OF = {name: module for module, names in _PLACES.items() for name in names}

__all__ = [
    "Applied",
    "FileTaken",
    "Imported",
    "Struck",
    "Told",
    "Words",
    "add_kit",
    "add_land",
    "apply",
    "calibrate",
    "choose",
    "close",
    "import_file",
    "import_files",
    "measure",
    "note",
    "plan",
    "plan_need",
    "plan_sequence",
    "say",
    "settle",
    "state_crop",
    "state_customer",
    "state_price",
    "strike",
]


def __getattr__(name: str) -> Any:
    if name not in _MODULE_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_MODULE_OF[name]}"), name)
