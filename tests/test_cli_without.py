"""What is left out when a command runs, and that nothing is missed by it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.evening import day_gpx, farm_log, own_configuration

__all__ = ["own_configuration"]

HOOKED = "import sys\nfrom oplog.cli._without import Without\nsys.meta_path.insert(0, Without())\n"


def ran(script: str) -> list[str]:
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert run.returncode == 0, run.stderr
    return run.stdout.splitlines()


def test_numpy_and_arrow_do_with_it_what_they_did() -> None:
    work = (
        "import numpy as np, pyarrow as pa\n"
        "x = np.array([3, 1, 3, 2])\n"
        "print(np.unique(x).tolist(), np.percentile(x, 30), np.isin(x, [3]).tolist())\n"
        "print(np.median(x), np.median([1, np.nan]), np.nanmedian([1, np.nan]))\n"
        "print(pa.array(x).to_pylist(), pa.array(x, mask=x > 2).to_pylist())\n"
        "print(any(n in sys.modules for n in ('numpy.ma.core', 'numpy._typing._array_like')))\n"
    )
    *with_hook, loaded = ran(HOOKED + work)
    *without, loaded_else = ran("import sys\n" + work)
    assert with_hook == without
    assert (loaded, loaded_else) == ("False", "True")


@pytest.mark.parametrize("how", ["np.ma.array", "numpy.ma.array", "from_ma", "by_extras"])
def test_masked_arrays_are_there_for_who_uses_them(how: str) -> None:
    work = (
        "import numpy as np, numpy\n"
        "np.unique([1, 2])\n"
        "def from_ma(*given, **named):\n"
        "    from numpy.ma import array\n"
        "    return array(*given, **named)\n"
        "def by_extras(*given, **named):\n"
        "    import numpy.ma.extras\n"
        "    return np.ma.array(*given, **named)\n"
        f"x = {how}([1, 1, 2], mask=[0, 1, 0])\n"
        "print(type(x) is np.ma.MaskedArray, np.ma.is_masked(x), x.sum())\n"
        "print(np.unique(x).tolist() == [1, 2, None])\n"
    )
    assert ran(HOOKED + work) == ["True True 3", "True"]


def test_names_of_types_are_there_for_who_uses_them() -> None:
    work = (
        "from numpy.typing import NDArray\n"
        "import numpy as np\n"
        "print(NDArray[np.float64], NDArray[np.int16 | np.int32])\n"
        "from numpy.typing import ArrayLike\n"
        "import numpy.typing as own, numpy._typing as inner\n"
        "print(ArrayLike is own.ArrayLike is inner.ArrayLike)\n"
        "print(np.typing is own, own.NBitBase.__name__, own.NDArray[np.float64])\n"
    )
    assert ran(HOOKED + work) == ran(work)


def test_the_network_is_there_for_who_wants_it() -> None:
    work = (
        "import ssl\n"
        "print(ssl.get_default_verify_paths().cafile)\n"
        "print(ssl.create_default_context().check_hostname, ssl.__spec__.origin is None)\n"
        "import ssl\n"
        "print(ssl.get_default_verify_paths() is not None, ssl.OP_ALL > 0)\n"
    )
    assert ran(HOOKED + work) == ["None", "True True", "True True"]


def test_sockets_are_there_for_who_wants_them() -> None:
    work = (
        "import pyarrow.util\n"
        "print('selectors' in sys.modules)\n"
        "import socket\n"
        "from socket import AF_INET\n"
        "with socket.socket(AF_INET) as one:\n"
        "    print(isinstance(one, socket.socket), one.family == socket.AF_INET)\n"
        "from multiprocessing import connection\n"
        "print(connection.socket.__name__, connection.default_family)\n"
        "print(pyarrow.util.find_free_port() > 0)\n"
    )
    *with_hook, free = ran(HOOKED + work)
    assert with_hook[0] == "False"
    assert [*with_hook[1:], free] == ran("import sys\n" + work)[1:]


def test_an_import_loads_none_of_it(tmp_path: Path) -> None:
    made = farm_log(tmp_path / "log")
    (tmp_path / "day.gpx").write_bytes(day_gpx())
    arguments = ["--log", str(made.path), "import", str(tmp_path / "day.gpx"), "--machine", "blue"]
    said = ran(
        f"import sys\nsys.argv = ['oplog', *{arguments!r}]\n"
        "from oplog.cli import main\n"
        "assert main() == 0\n"
        "never = {'numpy.ma.core', 'numpy._typing._array_like', 'pandas', '_ssl'}\n"
        "print(sorted(never & sys.modules.keys()))\n"
    )
    assert said[-1] == "[]"
