"""What a command loads, seen in an interpreter of its own."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Sequence


def loaded(words: Sequence[str], names: Sequence[str]) -> list[str]:
    """Those of the modules named that are loaded by a command that answers with rows in JSON."""
    script = (
        "import sys\nfrom oplog.cli import main\n"
        f"main({list(words)!r})\n"
        f"print(*[m for m in {tuple(names)!r} if m in sys.modules], file=sys.stderr)"
    )
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert json.loads(ran.stdout)["rows"]
    return ran.stderr.split()
