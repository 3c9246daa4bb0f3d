"""Where the recorded data is: used in place, never copied into the repository."""

import os
from pathlib import Path

import pytest

CORPUS = Path(
    os.environ.get("OPLOG_CORPUS")
    or Path(__file__).resolve().parents[1].parent / "shared" / "corpus"
)


def corpus(*parts: str) -> Path:
    """A file or folder of the corpus; skips the test, saying so, where it is absent."""
    path = CORPUS.joinpath(*parts)
    if not path.exists():
        pytest.skip(f"recorded data absent: {'/'.join(parts)} (set OPLOG_CORPUS)")
    return path
