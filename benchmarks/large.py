"""Files of more than 2 GB: `oplog import` takes them in within bounded memory, or says why not.

    python -m benchmarks.large [--fixes 864000] [--gigabytes 2.1] [--kind gpx]

For each kind a file is made with so many fixes (2 s apart, ten hours a day, one field a day) and
a hole of zero bytes that makes it as large as asked, as an interrupted copy leaves it; then the
peak memory of the whole command is printed. Needs as much room as the fixes take; holes take none.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from functools import reduce
from operator import xor
from pathlib import Path

from benchmarks.readers import positions

START = datetime(2024, 5, 2, 6, tzinfo=UTC)
A_DAY = 18_000
KINDS = ("gpx", "nmea", "csv", "kml")


def lines(kind: str, fixes: int) -> Iterator[str]:
    """The file's text, in pieces."""
    lats, lons = positions(A_DAY, 1)
    where = list(zip(lats.tolist(), lons.tolist(), strict=True))
    if kind == "gpx":
        yield '<?xml version="1.0"?>\n<gpx version="1.1" creator="made up"><trk><trkseg>\n'
    elif kind == "csv":
        yield "time,latitude,longitude\n"
    elif kind == "kml":
        yield "<kml xmlns:gx='x'><gx:Track>\n"
    for k in range(fixes):
        day, within = divmod(k, A_DAY)
        at = START + timedelta(days=day, seconds=2 * within)
        lat, lon = where[within]
        if kind == "gpx":
            stamp = f"<time>{at:%Y-%m-%dT%H:%M:%SZ}</time>"
            yield f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}">{stamp}</trkpt>\n'
        elif kind == "nmea":
            place = f"{lat // 1:02.0f}{lat % 1 * 60:08.5f},N,{lon // 1:03.0f}{lon % 1 * 60:08.5f},E"
            body = f"GPRMC,{at:%H%M%S}.00,A,{place},4.0,90.0,{at:%d%m%y},,,A"
            yield f"${body}*{reduce(xor, body.encode()):02X}\r\n"
        elif kind == "csv":
            yield f"{at:%Y-%m-%dT%H:%M:%SZ},{lat:.7f},{lon:.7f}\n"
        else:
            yield f"<when>{at:%Y-%m-%dT%H:%M:%SZ}</when><gx:coord>{lon:.7f} {lat:.7f}</gx:coord>\n"


def make(path: Path, kind: str, fixes: int, gigabytes: float) -> None:
    """Nine in ten of the fixes, a hole, and the rest."""
    text = list(lines(kind, fixes))
    first = len(text) * 9 // 10
    with path.open("w", newline="") as out:
        out.writelines(text[:first])
        rest = "".join(text[first:])
        out.flush()
        os.truncate(path, max(int(gigabytes * 1e9) - len(rest), out.tell()))
        out.seek(0, os.SEEK_END)
        out.write("\n" + rest)


def main() -> None:
    """Make a file of each kind, import it, print the peak memory."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--fixes", type=int, default=864_000)
    asked.add_argument("--gigabytes", type=float, default=2.1)
    asked.add_argument("--kind", choices=KINDS)
    args = asked.parse_args()
    for kind in [args.kind] if args.kind else KINDS:
        with tempfile.TemporaryDirectory() as folder:
            oplog = [sys.executable, "-m", "oplog", "--log", f"{folder}/log"]
            subprocess.run([*oplog[:3], "new", f"{folder}/log", "--name", "Big"], check=True)
            subprocess.run([*oplog, "kit", "add", "blue", "--kind", "tractor"], check=True)
            path = Path(folder, f"big.{kind}")
            make(path, kind, args.fixes, args.gigabytes)
            begun = time.monotonic()
            command = [*oplog, "import", str(path), "--machine", "blue"]
            with Path(folder, "said").open("w+") as said:
                child = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=said)
                _, code, used = os.wait4(child.pid, 0)
                said.seek(0)
                told = said.read().strip().splitlines()
            print(
                f"{kind}: {path.stat().st_size / 1e9:.2f} GB, {args.fixes:,} fixes, exit "
                f"{os.waitstatus_to_exitcode(code)}, peak {used.ru_maxrss >> 10} MB, "
                f"{used.ru_utime + used.ru_stime:.0f} s of one core, "
                f"{time.monotonic() - begun:.0f} s in all"
            )
            print("   " + "\n   ".join(told[:12]), flush=True)


if __name__ == "__main__":
    main()
