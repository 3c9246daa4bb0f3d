"""Who writes: identity and name of a writer, kept in the user's configuration.

The identity belongs to one user on one computer *and* to one place of a log: a copied folder
gets a writer of its own, so that two copies never continue the same chain. The configuration
also remembers the newest entry written here, so that a log that lost it, or was put back from
an older copy, shows.
"""

from __future__ import annotations

import getpass
import json
import os
from contextlib import suppress
from pathlib import Path
from typing import Any

from oplog.log.disk import rename
from oplog.records import dataclass


@dataclass(frozen=True)
class Writer:
    """A writer at one place: random id, and the newest entry it is known to have written."""

    id: str
    number: int = 0
    entry: str | None = None


def fresh() -> Writer:
    """A writer that nobody has been before."""
    return Writer(os.urandom(8).hex())


def recall(log: Path) -> Writer | None:
    """The writer of the log in this place, None where this user never wrote to it."""
    saved: Any = _places(_read()).get(_place(log))
    try:
        return Writer(str(saved["id"]), int(saved["number"]), saved["entry"])
    except (TypeError, KeyError, ValueError):
        return None


def remember(log: Path, writer: Writer) -> None:
    """Keep the writer of the log in this place. Where the configuration cannot be written, the
    next entry begins a chain of its own: nothing is lost by that."""
    saved = _read()
    here = {"id": writer.id, "number": writer.number, "entry": writer.entry}
    saved["writers"] = _places(saved) | {_place(log): here}
    _keep("writer.json", json.dumps(saved, indent=1))


def name() -> str:
    """The name under which this user states things: `name` in the configuration, else the
    name that the computer knows the user by."""
    said = _read().get("name")
    if isinstance(said, str) and said.strip():
        return said.strip()
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return "unknown"


def _folder() -> Path:
    if said := os.environ.get("OPLOG_CONFIG"):
        return Path(said)
    import platformdirs

    return Path(platformdirs.user_config_dir("oplog", appauthor=False))


def _keep(name: str, content: str) -> None:
    """Replace a file of the configuration, whole or not at all; not at all where it cannot be."""
    folder = _folder()
    aside = folder / f"{name}.{os.urandom(4).hex()}"
    with suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
        try:
            with aside.open("w", encoding="utf-8") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            rename(aside, folder / name, os.replace)
        finally:
            aside.unlink(missing_ok=True)


def _read() -> dict[str, Any]:
    try:
        saved = json.loads((_folder() / "writer.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return saved if isinstance(saved, dict) else {}


def _places(saved: dict[str, Any]) -> dict[str, Any]:
    places = saved.get("writers")
    return places if isinstance(places, dict) else {}


def _place(log: Path) -> str:
    return os.path.normcase(str(log.resolve()))


def verified(version: str) -> set[str]:
    """Digests of files that this user's checks have found whole, by checks of this version.

    A file's name is the digest of its bytes, so that what was once found whole stays whole as
    long as the bytes still give that digest: a check reads and hashes every byte every time, and
    takes apart only what is new.
    """
    try:
        first, *rest = (_folder() / "verified").read_text(encoding="ascii").split()
    except (OSError, ValueError):
        return set()
    return set(rest) if first == version else set()


def remember_verified(version: str, digests: set[str]) -> None:
    """Keep what `verified` gives; forgetting it only makes the next check slower."""
    _keep("verified", "\n".join([version, *sorted(digests)]))
