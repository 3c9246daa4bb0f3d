"""Coverage-guided fuzzing of the readers: bytes that nobody thought of.

    pip install atheris
    nice python -m benchmarks.fuzz gpx --minutes 30
    nice python -m benchmarks.fuzz nmea --minutes 30
    nice python -m benchmarks.fuzz tables --minutes 5       # CSV, GeoJSON and KML
    nice python -m benchmarks.fuzz containers --minutes 5

For every input: nothing is raised, it takes less than two seconds and little memory, the track is
sound, the same bytes give the same track, and ways of reading that should agree do (the fast path
of GPX and expat; NMEA in one block and in many). What breaks one of these is kept under
benchmarks/out/fuzz/NAME-finds, once for each place in the code; small ones belong into
tests/test_readers_fuzzed.py. The corpus is kept between runs. Prints executions, edges and finds.
"""

from __future__ import annotations

import argparse
import gzip
import hashlib
import io
import os
import re
import resource
import subprocess
import sys
import time
import traceback
import zipfile
from functools import reduce
from operator import xor
from pathlib import Path

OUT = Path(__file__).parent / "out" / "fuzz"
CORPUS = Path(os.environ.get("OPLOG_CORPUS", Path(__file__).parents[2] / "shared" / "corpus"))
LONGEST_BYTES = 8192
SLOWEST_S = 2.0
MOST_GROWTH_KB = 400 << 10
RUNS_OF_A_PROCESS = 4_000
"""What is traced leaks: a quarter of a megabyte with each log of sentences. The same logs read
without tracing, thousands of them in one process, stay at 41 MB."""

WORDS = {
    "gpx": """<trkpt </trkpt> <trkseg> </trkseg> <trk> </trk> <gpx </gpx> lat=" lon=" <time> </time>
        <speed> </speed> <hdop> <fix> 3d <course> <extensions> <!-- --> <![CDATA[ ]]> &amp; & gpx:
        2024-05-01T06:30:00Z 24:00:00 T23:59:60Z +02:00 <?xml encoding="latin-1" UTF-16 NaN 1e400
        <!DOCTYPE <!ENTITY <wpt <rtept xmlns="" """,
    "nmea": """$GPRMC, $GPGGA, $GNGLL, $GPZDA, $GNGNS, $GPVTG, $PUBX,00 *00 ,A, ,V, ,N, ,S, ,W, ,E,
        235959.99 000000.00 310224 280224 5230.1234 01234.5678 !AIVDM \\s:x*00\\ 60.0000 ,, ..
        AADN""",
    "tables": """time, lat, lon, latitude longitude date; speed km/h 2024-05-01T06:30:00Z 31.12.2024
        1714545000 52,5 "coordinates": "LineString" "MultiLineString" "times": "coordTimes" null
        "FeatureCollection" "properties": <kml <gx:Track> <when> <gx:coord> </gx:Track> <Placemark>
        <TimeStamp> <Point> <coordinates> "MultiPoint" "type":"Feature" \\x1e NaN 1e999
        \\" """,
    "containers": "PK \\x1f\\x8b <gpx><trk><trkseg> $GPRMC, time,lat,lon",
}


def _short(text: bytes) -> bytes:
    return text[:LONGEST_BYTES]


def gpx_seeds() -> list[bytes]:
    """The small files of the corpus, and points enough for the fast path."""
    point = b'<trkpt lat="52.1" lon="0.2"><time>2024-05-01T06:30:%02dZ</time></trkpt>\n'
    plain = b"".join(point % k for k in range(20))
    rich = plain.replace(b"</time>", b"</time><speed>2.5</speed><hdop>1</hdop><fix>3d</fix>")
    head = b'<?xml version="1.0" encoding="UTF-8"?><gpx creator="a"><trk><name>x 1</name><trkseg>'
    tail = b"</trkseg></trk></gpx>"
    made = [head + body + tail for body in (plain, rich, plain + b"</trkseg><trkseg>" + rich)]
    made += [made[0].decode().encode("utf-16"), made[0].replace(b"gpx", b"gpx:gpx"), made[0] * 2]
    return made + [_short(p.read_bytes()) for p in sorted(CORPUS.glob("gpx_gpxpy/*.gpx"))]


def nmea_seeds() -> list[bytes]:
    """The beginnings of recorded logs."""
    made = [
        b"$GPRMC,063000,A,5206.0000,N,00012.0000,E,4.0,90.0,010524,,,A*00\r\n",
        b"$GPGGA,063000,5206.0000,N,00012.0000,E,1,08,1.0,40,M,45,M,,\n$GPZDA,063000,01,05,2024,,\n",
    ]
    return made + [p.read_bytes()[:3000] for p in sorted(CORPUS.glob("nmea_gpsd/*.log"))]


def table_seeds() -> list[bytes]:
    """One of each shape of CSV, GeoJSON and KML."""
    return [
        b"time,lat,lon,speed\n2024-05-01T06:30:00Z,52.1,0.2,2\n2024-05-01T06:30:01Z,52.1,0.3,2\n",
        b"Datum;Uhrzeit;Breite;L\xc3\xa4nge\n31.05.2024;06:30:00;52,1;0,2\n",
        b'utc\tlatitude\tlongitude\n"1714545000"\t52.1N\t0.2W\n',
        b'{"type":"Feature","geometry":{"type":"LineString","coordinates":[[0.2,52.1],[0.3,52.1]]},'
        b'"properties":{"coordTimes":["2024-05-01T06:30:00Z","2024-05-01T06:30:01Z"]}}',
        b'{"type":"FeatureCollection","features":[{"type":"Feature","geometry":{"type":"Point",'
        b'"coordinates":[0.2,52.1]},"properties":{"time":"2024-05-01T06:30:00Z"}}]}',
        b'<kml xmlns:gx="x"><gx:Track><when>2024-05-01T06:30:00Z</when><gx:coord>0.2 52.1 0'
        b"</gx:coord></gx:Track></kml>",
        b"<kml><Placemark><TimeStamp><when>2024-05-01T06:30:00Z</when></TimeStamp><Point>"
        b"<coordinates>0.2,52.1</coordinates></Point></Placemark></kml>",
        b'\x1e{"type":"Feature","geometry":{"type":"Point","coordinates":[0.2,52.1]},'
        b'"properties":{"Time UTC":1714545000}}\n'
        b'{"type":"Feature","geometry":{"type":"MultiPoint","coordinates":[[0.2,52.1,40,1714545000'
        b']]},"properties":{}}',
        b"UTC,lat,n/s,lon,e/w,speed\n'2024:05:01 06:30:00,5206.0000,N,00012.0000,E,7.2 km/h\n",
    ]


def container_seeds() -> list[bytes]:
    """Archives of small tracks, and archives of archives."""
    inner = table_seeds()[0]
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("../a.csv", inner)
        archive.writestr("b.gpx", gpx_seeds()[0])
    twice = io.BytesIO()
    with zipfile.ZipFile(twice, "w") as archive:
        archive.writestr("c.zip", out.getvalue())
    return [out.getvalue(), twice.getvalue(), gzip.compress(inner, mtime=0), _short(inner)]


SEEDS = {
    "gpx": gpx_seeds,
    "nmea": nmea_seeds,
    "tables": table_seeds,
    "containers": container_seeds,
}


def check(kind: str, data: bytes) -> None:
    """Read bytes and hold the outcome to what is promised of it. Raises: AssertionError.

    Every other log of sentences has its checksums put right first, or nothing would get past them.
    """
    import numpy as np

    from oplog import readers
    from oplog.readers import gpx, nmea

    if kind == "nmea" and len(data) % 2:
        data = re.sub(rb"\$([^$*\r\n]*)\*[^$\r\n]{0,2}", _checked, data)
    track, problems = readers.read(data, name="x", zone="Europe/London")
    assert len(track) or problems, "nothing read and nothing said"
    assert all(p.done and p.count >= 0 for p in problems), problems
    assert all(p.line is None or p.line >= 1 for p in problems), problems
    if len(track):
        assert np.abs(track.lat).max() <= 90
        assert np.abs(track.lon).max() <= 180
        assert (np.diff(track.segment) >= 0).all(), "segments"
        known = ~np.isnat(track.time)
        time, segment = track.time[known], track.segment[known]
        forward = np.diff(time) >= np.timedelta64(0, "us")
        assert (forward | (np.diff(segment) > 0)).all(), "time steps back within a segment"
    digest = _all_of(track)
    if digest[0] % 8 == 0:
        again, said = readers.read(data, name="x", zone="Europe/London")
        assert (_all_of(again), said) == (digest, problems), "not the same twice"
    if kind == "gpx" and digest[0] % 2 == 0:
        gpx._SMALL_BYTES = 1 << 30
        try:
            slow, _ = readers.read(data, name="x", zone="Europe/London")
        finally:
            gpx._SMALL_BYTES = 64
        assert _all_of(slow) == digest, "the fast path reads something else"
    if kind == "nmea" and digest[0] % 2 == 0 and _lines_are_short(data):
        nmea.BLOCK_BYTES = 512
        try:
            blocks, _ = readers.read(data, name="x", zone="Europe/London")
        finally:
            nmea.BLOCK_BYTES = 1 << 22
        assert _all_of(blocks) == digest, "blocks read something else"


def _checked(sentence: re.Match[bytes]) -> bytes:
    return b"$%s*%02X" % (sentence[1], reduce(xor, sentence[1], 0))


def _lines_are_short(data: bytes) -> bool:
    """Whether every block can end at a line's end."""
    return max(map(len, re.split(rb"[\r\n]", data))) < 400 and b"\0" not in data


def _all_of(track: object) -> bytes:
    hasher = hashlib.sha256(str(track.device).encode())  # type: ignore[attr-defined]
    for column in ("time", "lat", "lon", "speed_m_s", "course_deg", "hdop", "quality", "segment"):
        hasher.update(getattr(track, column).tobytes())
    return hasher.digest()


def fuzz(kind: str, seconds: int) -> None:
    """One process of libFuzzer, which ends with the time or with a hang."""
    import atheris

    with atheris.instrument_imports(include=["oplog.readers"]):
        from oplog.readers import formats, gpx

        formats()
    gpx._SMALL_BYTES = 64  # so that the fast path is reached by small inputs
    finds = OUT / f"{kind}-finds"
    start_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss

    def one(data: bytes) -> None:
        nonlocal start_kb
        begun = time.process_time()
        try:
            check(kind, data)
            took_s = time.process_time() - begun
            assert took_s < SLOWEST_S, f"slow: {took_s:.1f} s"
            now_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
            grown_kb, start_kb = now_kb - start_kb, max(start_kb, now_kb)
            assert grown_kb < MOST_GROWTH_KB, f"memory: {grown_kb >> 10} MB for one input"
        except Exception as error:  # every kind of failure is a find
            _keep(finds, data, error)

    inputs = OUT / kind
    arguments = [
        sys.argv[0],
        str(inputs),
        f"-max_total_time={seconds}",
        f"-max_len={LONGEST_BYTES}",
        "-timeout=20",
        "-rss_limit_mb=0",  # what is traced leaks: the growth with one input is watched
        f"-runs={RUNS_OF_A_PROCESS}",
        f"-dict={OUT / (kind + '.dict')}",
        f"-artifact_prefix={finds}/",
        "-print_final_stats=1",
    ]
    atheris.Setup(arguments, one)
    atheris.Fuzz()


def _keep(finds: Path, data: bytes, error: Exception) -> None:
    """Keep the smallest input for each place where something broke."""
    frames = traceback.extract_tb(error.__traceback__)
    ours = [f for f in frames if "oplog" in f.filename or "fuzz" in f.filename]
    at = f"{Path(ours[-1].filename).stem}-{ours[-1].lineno}-{type(error).__name__}"
    kept = finds / at
    if not kept.exists() or kept.stat().st_size > len(data):
        if not kept.exists():
            print(f"\nFIND {at}: {error}", flush=True)
        kept.write_bytes(data)
        kept.with_suffix(".txt").write_text("".join(traceback.format_exception(error)))


def main() -> None:
    """Run libFuzzer in processes of its own until the time is up; print what came of it."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("kind", choices=sorted(SEEDS))
    asked.add_argument("--minutes", type=float, default=30)
    asked.add_argument("--child", type=int, help=argparse.SUPPRESS)
    args = asked.parse_args()
    if args.child:
        fuzz(args.kind, args.child)
        return
    for folder in (args.kind, f"{args.kind}-finds"):
        (OUT / folder).mkdir(parents=True, exist_ok=True)
    for seed in SEEDS[args.kind]():
        (OUT / args.kind / hashlib.sha1(seed).hexdigest()).write_bytes(seed)
    words = [w.replace("\\", "\\\\").replace('"', '\\"') for w in WORDS[args.kind].split()]
    (OUT / f"{args.kind}.dict").write_text("".join(f'"{w}"\n' for w in words))
    begun, executions, edges = time.monotonic(), 0, 0
    while (left := round(args.minutes * 60 - (time.monotonic() - begun))) > 5:
        command = [sys.executable, "-m", "benchmarks.fuzz", args.kind, "--child", str(left)]
        done = subprocess.run(command, stderr=subprocess.PIPE, text=True, errors="replace")
        counts = re.findall(r"^#(\d+)\s.*?cov: (\d+)", done.stderr, re.MULTILINE)
        executions += max((int(n) for n, _ in counts), default=0)
        edges = max([edges, *(int(c) for _, c in counts)])
        print("\n".join(done.stderr.splitlines()[-6:]), flush=True)
        if not counts:
            break
    minutes = (time.monotonic() - begun) / 60
    kept = [p for p in (OUT / f"{args.kind}-finds").iterdir() if p.suffix != ".txt"]
    print(
        f"{args.kind}: {executions} executions in {minutes:.0f} minutes, {edges} edges, "
        f"{len(list((OUT / args.kind).iterdir()))} inputs in the corpus, {len(kept)} finds kept"
    )


if __name__ == "__main__":
    main()
