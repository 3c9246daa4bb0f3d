"""Make the sample farm's tracks: python -m tests.simulator.make_sample

Reads sample_tracks/farm.toml (kit and what is said of each track), drives the days told here, and
writes boundaries.geojson, the tracks and truth.json beside it, the same bytes each time.
"""

from __future__ import annotations

import gzip
import json
import math
import tomllib
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from shapely.geometry import Polygon
from shapely.geometry.polygon import orient

from tests.simulator import sample_farm as sf
from tests.simulator.drive import Drive, stop
from tests.simulator.plan import Style, work_field
from tests.simulator.receiver import Receiver
from tests.simulator.sample_farm import Farm
from tests.simulator.scene import Scenario, record

FOLDER = Path(__file__).parents[2] / "sample_tracks"
LOGGER = Receiver("sbas", 1.0, whole_seconds=True)
GUIDANCE = Receiver("rtk", 1.0, whole_seconds=True)
PHONE = Receiver("phone", 2.0, whole_seconds=True, speed=True, drops=0.004)
SLOW_PHONE = Receiver("phone", 5.0, whole_seconds=True, speed=True, drops=0.004)

Day = Callable[[Drive, Farm], None]
BEANS = Style(laps=3, first=False, fixed_order=True, stop_chance=0.008)


def field_work(name: str, style: Style, *, fill_first: bool = False, machine: int = 0) -> Day:
    """Come to a field, work it in a style, and go."""

    def do(d: Drive, f: Farm) -> None:
        sf.come(d, f, name, machine)
        if fill_first:
            stop(d, float(d.rng.uniform(200, 400)), "fill")
        work_field(d, style)
        sf.go(d, f, name)

    return do


def meal(minutes: float) -> Day:
    return lambda d, f: stop(d, minutes * 60)


def change_to(machine: int) -> Day:
    """Back to the yard to hitch another implement."""

    def do(d: Drive, f: Farm) -> None:
        sf.finish(d, f)
        stop(d, 900.0)
        d.machine = machine

    return do


def part(style: Style, start: float, end: float) -> Style:
    """Some of the bouts; the headland is worked with the last of them."""
    laps = 1.0 if (end >= 1.0) == (not style.first) else 0.0
    return replace(style, start_share=start, share=end, lap_share=laps)


WIDE = Style(laps=1, cover=0.9, stop_chance=0.0)
SEEDBED = Style(laps=2, pattern="skip", stop_chance=0.005)
HARVEST = Style(laps=2, corners="shunt", pattern="lands", unload_stand=True, stop_chance=0.01)

DAYS: dict[str, tuple[str, list[str], Receiver, list[Day]]] = {
    "2026-04-07-blue.gpx.gz": ("07:40", ["spreader"], LOGGER, [
        field_work(n, WIDE, fill_first=True)
        for n in ("Crooked Piece", "Teasel Ground", "Sallow Top")
    ]),
    "2026-04-08-green.nmea.gz": ("08:10", ["cultivator"], GUIDANCE, [
        field_work("Long Dole", SEEDBED), field_work("Nine Lands", SEEDBED)
    ]),
    "2026-04-09-blue.gpx.gz": ("15:10", ["drill"], LOGGER, [
        field_work("Long Dole", BEANS, fill_first=True),
        field_work("Nine Lands", part(BEANS, 0.0, 0.45)),
    ]),
    "2026-04-09-green.nmea.gz": ("09:30", ["cultivator"], GUIDANCE, [
        field_work("Barn Close", SEEDBED)
    ]),
    "2026-04-10-blue.gpx.gz": ("15:50", ["drill"], LOGGER, [
        field_work("Nine Lands", part(BEANS, 0.45, 1.0), fill_first=True), meal(38),
        field_work("Barn Close", part(BEANS, 0.0, 0.4)),
    ]),
    "2026-04-11-blue.gpx.gz": ("08:00", ["roller", "drill"], LOGGER, [
        field_work("Long Dole", Style(laps=2, stop_chance=0.0)), change_to(1),
        field_work("Barn Close", part(BEANS, 0.4, 1.0), fill_first=True, machine=1),
    ]),
    "2026-04-14-green.nmea.gz": ("06:50", ["sprayer"], GUIDANCE, [
        field_work(n, WIDE) for n in ("Kite Hill", "Flint Walk", "Sallow Foot", "Sallow Top")
    ]),
    "2026-04-16-red.gpx": ("14:00", ["roller"], SLOW_PHONE, [
        field_work("Nine Lands", Style(laps=2, first=False))
    ]),
    "2026-04-20-blue.gpx.gz": ("09:15", ["spreader"], LOGGER, [
        field_work(n, WIDE, fill_first=True) for n in ("Kite Hill", "Two Oaks")
    ]),
    "2026-06-02-green.nmea.gz": ("10:20", ["wide mower"], GUIDANCE, [
        field_work("Lamb Meadow", Style(laps=2)), field_work("Cuckoo Pen", Style(along="spiral"))
    ]),
    "2026-06-02-red.gpx.gz": ("10:45", ["mower"], PHONE, [
        field_work("Withy Meadow", Style(laps=3)), field_work("Pightle", Style(along="spiral"))
    ]),
    "2026-06-04-red.gpx": ("11:30", ["rake"], SLOW_PHONE, [
        field_work("Withy Meadow", Style(along="spiral")), field_work("Lamb Meadow", Style(laps=2))
    ]),
    "2026-06-04-blue.gpx.gz": ("14:10", ["baler"], LOGGER, [
        field_work("Withy Meadow", Style(laps=2, stop_chance=0.05)),
        field_work("Lamb Meadow", Style(laps=2, stop_chance=0.05)),
    ]),
    "2026-08-05-combine.gpx.gz": ("12:30", ["header"], LOGGER, [
        field_work("Sallow Foot", HARVEST)
    ]),
    "2026-08-06-combine.gpx.gz": ("11:40", ["wide header"], LOGGER, [
        field_work("Teasel Ground", HARVEST), field_work("Sallow Top", part(HARVEST, 0.0, 0.5))
    ]),
}  # fmt: skip
"""File: when the record begins (UTC), implements, receiver, and what was done."""


def told() -> dict[str, Any]:
    return tomllib.loads((FOLDER / "farm.toml").read_text(encoding="utf-8"))


def drawn(f: Farm) -> list[Polygon]:
    """The fields as somebody drew them: corners half a metre out."""
    rng = np.random.default_rng(77)
    out = []
    for shape in f.scene.shapes:
        rings = []
        for ring in _rings(shape.simplify(0.15)):
            corners = np.array(ring.coords)[:-1]
            rings.append(corners + rng.normal(0, 0.35, corners.shape))
        out.append(orient(Polygon(rings[0], rings[1:])))
    return out


def day(f: Farm, file: str, farm: dict[str, Any]) -> Scenario:
    """Drive and record one file."""
    clock, implements, receiver, doings = DAYS[file]
    machine = next(t["machine"] for t in farm["track"] if t["file"] == file)
    rng = np.random.default_rng([2026, list(DAYS).index(file)])
    d = sf.start(f, rng, *[sf.rig(farm, machine, i) for i in implements])
    for do in doings:
        do(d, f)
    sf.finish(d, f)
    f.scene.rng = rng
    begun = datetime.fromisoformat(f"{file[:10]}T{clock}:00").replace(tzinfo=UTC)
    return record(file, d, f.scene, sf.PLACE, receiver, started=begun, boundaries=drawn(f))


def gpx(s: Scenario) -> bytes:
    """GPX 1.1 as the cab logger writes it, or 1.0 with speeds as the phone does."""
    phone = "speed" in s.fixes
    version, creator = ("1.0", "Pocket track") if phone else ("1.1", "Cab logger 4711")
    space = f"http://www.topografix.com/GPX/{version.replace('.', '/')}"
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<gpx version="{version}" creator="{creator}" xmlns="{space}">',
        f"<trk><name>{s.name[:10]}</name><trkseg>",
    ]
    times = np.datetime_as_string(s.fixes["time"], unit="s")
    speeds = s.fixes.get("speed", [None] * len(times))
    for t, lat, lon, v in zip(times, s.fixes["lat"], s.fixes["lon"], speeds, strict=True):
        said = "" if v is None else f"<speed>{v:.1f}</speed>"
        lines.append(f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}"><time>{t}Z</time>{said}</trkpt>')
    lines.append("</trkseg></trk></gpx>\n")
    return "\n".join(lines).encode()


def _sentence(body: str) -> str:
    check = 0
    for c in body.encode():
        check ^= c
    return f"${body}*{check:02X}\r\n"


def _degrees(value: float, width: int, letters: str) -> str:
    size = abs(value)
    whole = math.floor(size)
    minutes = f"{(size - whole) * 60:09.6f}"
    if minutes.startswith("60"):
        whole, minutes = whole + 1, "00.000000"
    return f"{whole:0{width}d}{minutes},{letters[0] if value >= 0 else letters[1]}"


def nmea(s: Scenario) -> bytes:
    """GGA with RTK quality, and RMC, for every fix."""
    lat, lon = s.fixes["lat"], s.fixes["lon"]
    times = s.fixes["time"].astype("datetime64[ms]").tolist()
    east = np.gradient(lon) * np.cos(np.radians(lat)) * 111_320.0
    north = np.gradient(lat) * 111_320.0
    dt = np.gradient(s.fixes["time"].astype(np.int64) / 1e6)
    knots = np.hypot(east, north) / np.maximum(dt, 0.1) / 0.514444
    course = np.degrees(np.arctan2(east, north)) % 360
    out = []
    for i, t in enumerate(times):
        clock = t.strftime("%H%M%S.00")
        place = f"{_degrees(lat[i], 2, 'NS')},{_degrees(lon[i], 3, 'EW')}"
        out.append(_sentence(f"GNGGA,{clock},{place},4,17,0.7,42.0,M,46.1,M,1.0,0042"))
        out.append(
            _sentence(f"GNRMC,{clock},A,{place},{knots[i]:.2f},{course[i]:.1f},{t:%d%m%y},,,R")
        )
    return "".join(out).encode("ascii")


def encode(s: Scenario) -> bytes:
    """The bytes of a scenario's file, before compression."""
    return nmea(s) if ".nmea" in s.name else gpx(s)


def boundaries(f: Farm) -> str:
    """Fields as GeoJSON with the properties name and farm."""
    features = []
    for name, block, shape in zip(f.scene.names, f.farms, drawn(f), strict=True):
        rings = [
            [[round(x, 7), round(y, 7)] for x, y in ring.coords]
            for ring in _rings(orient(sf.PLACE.shape(shape)))
        ]
        features.append(
            {
                "type": "Feature",
                "properties": {"name": name, "farm": block},
                "geometry": {"type": "Polygon", "coordinates": rings},
            }
        )
    body = ",\n".join(json.dumps(x) for x in features)
    return f'{{"type": "FeatureCollection", "features": [\n{body}\n]}}\n'


def _rings(p: Polygon) -> list[Any]:
    return [p.exterior, *p.interiors]


def truth(s: Scenario) -> dict[str, Any]:
    """What was truly done in each visit of a file: hectares, hours, metres per second."""
    hours = 3600.0
    return {
        "file": s.name,
        "fixes": len(s.labels),
        "visits": [
            {
                "field": v.field,
                "implement": v.rig["implement"],
                "operation": v.rig["operation"],
                "width_m": v.rig["width_m"],
                "started_at": v.started.isoformat(timespec="seconds"),
                "ended_at": v.ended.isoformat(timespec="seconds"),
                "worked_ha": round(v.in_boundary_m2 / 1e4, 4),
                "gross_ha": round(v.gross_m2 / 1e4, 4),
                "overlap_ha": round(v.overlap_m2 / 1e4, 4),
                "speed_m_s": round(v.working_speed_m_s, 4),
                **{f"{k}_h": round(x / hours, 4) for k, x in v.seconds.items()},
            }
            for v in s.visits_truth
        ],
    }


def pack(name: str, data: bytes) -> bytes:
    return gzip.compress(data, 9, mtime=0) if name.endswith(".gz") else data


def main() -> None:
    f, farm = sf.farm(), told()
    (FOLDER / "boundaries.geojson").write_text(boundaries(f), encoding="utf-8", newline="\n")
    truths = []
    for file in DAYS:
        s = day(f, file, farm)
        (FOLDER / file).write_bytes(pack(file, encode(s)))
        truths.append(truth(s))
        print(f"{file:30} {len(s.labels):6} fixes {(FOLDER / file).stat().st_size:8} bytes")
    text = json.dumps({"tracks": truths}, indent=1) + "\n"
    (FOLDER / "truth.json").write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
