"""The folder of this user in which what is disposable is kept between commands."""

from __future__ import annotations

import os
from pathlib import Path


def cache_folder() -> Path:
    """Beside the configuration where OPLOG_CONFIG names one, else where the system has such
    things."""
    if said := os.environ.get("OPLOG_CONFIG"):
        return Path(said)
    from platformdirs import user_cache_dir

    return Path(user_cache_dir("oplog", appauthor=False))
