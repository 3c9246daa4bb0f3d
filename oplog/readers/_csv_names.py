"""What the columns of a table are, by their names: case, punctuation and common prefixes aside."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import field

import numpy as np

from oplog.readers import _csv_places
from oplog.records import dataclass
from oplog.units import KMH_M_S, KNOT_M_S, MPH_M_S

# No word here is made of others, or of one and the words behind it: a name that repeats one would
# be tried in every way that it can be taken apart.
_BEFORE = (
    "(?:utc|gmt|gps|gnss|local|fix|log|logged|event|record|recorded|recording|created|sampled|iso"
    "|unix|epoch|posix|device|and|position|point|sample|measured|capture"
    "|captured|track|(?:date|datum|fecha|data|dato|päivä|дата)(?:und|et|y|e|i|a|ja|и)?)*"
)
_AFTER = "(?:utc|gmt|z|local|iso|stamp|of|fix|gps|s|ms|us|ns|sec|second|millis|hms)*"
_PLACE_BEFORE = (
    "(?:gps|gnss|pos|position|point|location|loc|coord|coords|coordinates|wgs84|dd|fix|decimal|nav"
    "|geo|géo|geographische|zeměpisná|zemepisná|vehicle|asset|device|unit|machine|tractor|current)*"
)
_PLACE_AFTER = "(?:wgs84|deg|degree|dd|dec|decimal|{letters})*"
_LAT = (
    "(?:lat|lati|latitude|latitud|latitudine|breite|breitengrad|breedtegraad|ycoord|bredde|breddegrad"
    "|breddgrad|szerokość|szerokośćgeograficzna|šířka|leveysaste|leveys|šírka"
    "|широта|enlem|纬度|緯度)"
)
_LON = (
    "(?:lon|lng|long|longi|longitude|longitud|longitudine|laenge|länge|längengrad|laengengrad"
    "|lengtegraad|xcoord|længde|længdegrad|lengde|lengdegrad|längd|längdgrad|długość"
    "|długośćgeograficzna|délka|pituusaste"
    "|pituus|dĺžka|долгота|boylam|经度|經度|経度)"
)
_PATTERNS = {
    "date": re.compile(
        f"{_BEFORE}(?:date|datum|fecha|dato|jour|data|päivä|päivämäärä)(?:utc|gmt|local|gps|ymd|dmy)*"
    ),
    "time": re.compile(
        f"{_BEFORE}(?:time|timestamp|datetime|stamp|utc|ts|unix|epoch|zeit|uhrzeit|zeitstempel"
        f"|zeitpunkt|heure|horodatage|tijd|tijdstip|hora|fechahora|ora|czas|čas|tid|tidpunkt"
        f"|tidspunkt|klokkeslæt|klokkeslett|aika|iso8601|время|(?<=d)at){_AFTER}"
    ),
    "lat": re.compile(_PLACE_BEFORE + _LAT + _PLACE_AFTER.format(letters="n|s")),
    "lon": re.compile(_PLACE_BEFORE + _LON + _PLACE_AFTER.format(letters="e|w|s")),
    "north": re.compile(r"n?s|northsouth|(?:gps)?lat(?:itude)?(?:ref|hemi|hemisphere|dir)"),
    "east": re.compile(r"ew|we|eastwest|(?:gps)?lon(?:g|gitude)?(?:ref|hemi|hemisphere|dir)"),
    "course_deg": re.compile(
        "(?:gps)?(?:course|heading|bearing|cog|track|trackangle|kurs|richtung|direction|azimuth)"
        "(?:overground|deg|degrees|true)*"
    ),
    "hdop": re.compile("(?:gps)?hdop"),
    "valid": re.compile(
        "(?:gps|gnss|pos|position|location|is|has)*"
        "(?:valid|validity|fix|fixvalid|fixok|fixstatus|fixtype|fixmode|fixquality)"
    ),
    "status": re.compile("(?:gps|gnss|data|nav)*status"),
    "place": re.compile(
        "(?:gps|gnss|wkt|the)*(?:wkt|geom|geometry|shape|point|location|position|coords?|coordinates?"
        "|lat(?:itude)?(?:lon|lng|long|longitude)|(?:lon|lng|long|longitude)lat(?:itude)?)"
    ),
    **{
        part: re.compile(f"(?:utc|gmt|gps|gnss|local)*{part}s?(?:utc|gmt|gps|local)*")
        for part in ("year", "month", "day", "hour", "minute", "second")
    },
    "millisecond": re.compile("(?:gps|utc|time)*(?:ms|msecs?|millis|milliseconds?)"),
    "machine": re.compile(
        "(?:vehicle|machine|tractor|device|unit|asset|fahrzeug|maschine|imei)"
        "(?:id|name|no|nr|number|serial)?"
    ),
}
_SPEED = re.compile(
    "(?:gps|ground)?(?:speed|spd|velocity|geschwindigkeit|vitesse|sog|velocidad|velocità|hastighet"
    "|snelheid|prędkość|(?=kmh$))(?:overground)?"
)
_UNITS = {
    "": 1.0,
    **dict.fromkeys(("ms", "mps"), 1.0),
    **dict.fromkeys(("kmh", "kph", "kmph"), KMH_M_S),
    "mph": MPH_M_S,
    **dict.fromkeys(("kn", "kt", "kts", "knot", "knots"), KNOT_M_S),
}
_NAMES_PLACE = re.compile(_LAT + r"|\by|_y\b|wkt|geom|shape|point|location|position|coord")
_OFFSET = re.compile(
    r"(?:(?:utc|gmt)\s*|(?<=[(\[]))([-+\u2212])\s*(\d{1,2})(?::?([0-5]\d))?(?![\d:])"
)
"""How far a column's times are from UTC."""
_MOST_WORDS = 5
_LONGEST_NAME = 80
_LONGEST_TEXT = 250
"""Of a name, with what is in brackets behind it."""


@dataclass(frozen=True)
class Columns:
    """Which column holds what (numbers from 0), the unit of speed in m/s, how far from UTC times
    are by their names (None: they do not say), how many columns there are, and their names, in
    small letters."""

    at: dict[str, int] = field(default_factory=dict)
    speed_unit_m_s: float = 1.0
    offset_us: int | None = None
    width: int = 0
    names: tuple[str, ...] = ()

    def __contains__(self, name: str) -> bool:
        return name in self.at

    @property
    def places(self) -> tuple[int, ...]:
        """The columns of latitude and longitude, or the one that holds both."""
        if "lat" in self.at:
            return self.at["lat"], self.at["lon"]
        return (self.at["place"],)


def unit_m_s(unit: str) -> float | None:
    """A unit of speed in m/s; None for none, or one not known."""
    return _UNITS.get(re.sub(r"[\W_]", "", unit.casefold())) if unit else None


def columns(names: Sequence[str]) -> Columns:
    """The columns that names stand for. Where several hold a time, one that says UTC is taken."""
    at: dict[str, int] = {}
    offset_of: dict[str, int | None] = {}
    speed_unit = 1.0
    for index, name in enumerate(names):
        if len(name) > _LONGEST_TEXT:
            continue
        offset_us, name = _offset(name)
        whole = re.sub(r"[\W_]", "", name.casefold())
        bare = re.sub(r"[\W_]", "", re.sub(r"[(\[].*?[)\]]", "", name.casefold())) or whole
        speed = _SPEED.match(whole)
        if speed and whole[speed.end() :] in _UNITS:
            if "speed_m_s" not in at:
                at["speed_m_s"] = index
                speed_unit = _UNITS[whole[speed.end() :]]
            continue
        patterns = _PATTERNS if len(bare) <= _LONGEST_NAME else {}
        kind = next((k for k, p in patterns.items() if p.fullmatch(bare)), None)
        better = kind in ("time", "date") and offset_us is not None and offset_of.get(kind) is None
        if kind and (kind not in at or better):
            at[kind], offset_of[kind] = index, offset_us
    if "lat" not in at or "lon" not in at:
        at = {kind: index for kind, index in at.items() if kind not in ("lat", "lon")}
    if "lat" not in at and "time" in at:
        plain = [n.strip().strip("\"'").casefold().removeprefix("point_") for n in names]
        if "x" in plain and "y" in plain:
            at["lon"], at["lat"] = plain.index("x"), plain.index("y")
    if "time" not in at and "date" in at:
        at["time"], offset_of["time"] = at.pop("date"), offset_of["date"]
    said = [offset_of.get(kind) for kind in ("time", "date", "hour")]
    offset_us = next((offset for offset in said if offset is not None), None)
    return Columns(at, speed_unit, offset_us, len(names), tuple(n.casefold() for n in names))


def _offset(name: str) -> tuple[int | None, str]:
    """How far from UTC the times of a column are by its name, and the name without that."""
    name = name.casefold()
    if found := _OFFSET.search(name):
        minutes = 60 * int(found[2]) + int(found[3] or 0)
        sign = 1 if found[1] == "+" else -1
        return sign * minutes * 60_000_000, name[: found.start(1)] + name[found.end() :]
    return (0 if re.search("utc|gmt", re.sub(r"[\W_]", "", name)) else None), name


def header(text: str, lines: int) -> tuple[int, str, Columns] | None:
    """Where the header line begins, what parts the columns, and what they are."""
    at = 0
    split = text.split("\n")[: lines + 1]
    for k, line in enumerate(split[:lines]):
        # most lines of most files: looking at them closer would take longer than reading the file
        likely = _NAMES_PLACE.search(line.casefold())
        for parter in ";\t,| " if likely else "":
            names = line.strip("\r").lstrip("# \ufeff").split(parter)
            if parter == " ":
                names = line.split()
            names = [n.strip().strip("\"'") for n in names]
            found = columns(names)
            if ("lat" in found or "place" in found) and _heads(
                names, split[k + 1 :], parter, found
            ):
                return at, parter, found
        at += len(line) + 1
    return None


def _heads(names: list[str], below: list[str], parter: str, found: Columns) -> bool:
    """Whether names head a table: short, and the line below has about as many columns.

    Words with nothing but spaces between them have to be followed by numbers, or are prose; a
    column that is to hold both latitude and longitude has to do so.
    """
    following = next((line for line in below if line.strip()), "")
    if "lat" not in found:
        at = found.at["place"]
        cells = next(csv.reader([following], delimiter=parter, skipinitialspace=True), [])
        lat, _ = _csv_places.pair(cells[at].strip(), names[at]) if at < len(cells) else (np.nan, 0)
        return bool(lat == lat) and not re.search(r"[\d{}<>:\"]", names[at])
    if parter == " ":
        cells = following.split()
        number = re.compile(r"-?\d+[.,]?\d*")
        return len(cells) == len(names) and all(
            number.fullmatch(cells[found.at[c]]) for c in ("lat", "lon")
        )
    as_many = not following or 2 * (following.count(parter) + 1) > len(names)
    return as_many and all(len(name.split()) <= _MOST_WORDS for name in names)
