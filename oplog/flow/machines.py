"""Which machine a file belongs to."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from oplog.errors import OplogError
from oplog.fold import Farm

Ask = Callable[[str, Sequence[str]], str | None]
"""Asked for a machine: (name of the file, machines known) -> one of them, or None."""

HOW_TO_ADD = "oplog kit add NAME --kind tractor"


def machine_of(
    farm: Farm, name: str, device: str, said: str | None, holder: str | None, ask: Ask | None
) -> tuple[str, str]:
    """The machine, and how it was found ("" where it was said).

    Said comes first, then the machine whose track the log holds some of this file as (holder),
    then the one that the device belongs to, then the only one there is. A device that has been on
    several machines does not tell.
    Raises: OplogError where nothing tells.
    """
    if said is not None:
        return said, ""
    if holder is not None:
        return holder, f"taken as {holder}'s, as the log holds some of it already"
    been_on = sorted({t.machine for t in farm.tracks if device and t.device == device})
    remembered = farm.devices.get(device) if device else None
    if remembered is not None and len(been_on) <= 1:
        return remembered, f"taken as {remembered}'s, as before from this device"
    known = sorted({v[-1].name for v in farm.kit.values() if v[-1].is_machine})
    if len(known) == 1:
        return known[0], f"taken as {known[0]}'s, the only machine in the log"
    if known and ask is not None and (answer := ask(name, known)):
        return answer, ""
    if not known:
        raise OplogError(f"{name}: there is no machine in this log yet. Add one: {HOW_TO_ADD}")
    both = f" Its device has been on {' and '.join(been_on)}." if len(been_on) > 1 else ""
    raise OplogError(
        f"{name}: whose track is this?{both} Say so with --machine NAME, one of: "
        f"{', '.join(known)}."
    )
