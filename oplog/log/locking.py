"""A file that only one program at a time can hold: what keeps two writers of a log apart.

Whoever ends, however it ends, holds nothing any more.
"""

from __future__ import annotations

import errno
import os
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

LOOK_AGAIN_S = 0.05
"""How often to look whether a file that another program holds is free. [s]"""

if sys.platform == "win32":

    def locked(file: Path, wait_s: float) -> Callable[[], object] | None:
        """Hold a file; what gives it back, or None where another program held it all the time.

        Raises: OSError.
        """
        import filelock

        lock = filelock.FileLock(file, timeout=wait_s)
        try:
            lock.acquire()
        except filelock.Timeout:
            return None
        except NotImplementedError as error:
            raise OSError(errno.ENOSYS, "no locks") from error
        return lock.release

else:
    # As filelock does it, which takes as long to load as a log of some years takes to read.
    import fcntl

    def locked(file: Path, wait_s: float) -> Callable[[], object] | None:
        """Hold a file; what gives it back, or None where another program held it all the time.

        Raises: OSError.
        """
        until = time.monotonic() + wait_s
        while True:
            handle = os.open(file, os.O_RDWR | os.O_CREAT, 0o644)
            # One that was taken away by whoever held it before keeps nobody out.
            if _is_mine(handle) and os.fstat(handle).st_nlink:
                return partial(os.close, handle)
            os.close(handle)
            if time.monotonic() >= until:
                return None
            time.sleep(LOOK_AGAIN_S)

    def _is_mine(handle: int) -> bool:
        """Take hold of an open file, unless another program has. Raises: OSError."""
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError:
            os.close(handle)
            raise
        return True
