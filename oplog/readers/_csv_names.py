"""What the columns of a table are, by their names: case, punctuation and common prefixes aside."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import field

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
    "|geo|geographische|zeměpisná|zemepisná)*"
)
_PLACE_AFTER = "(?:wgs84|deg|degree|dd|dec|decimal|{letters})*"
_LAT = (
    "(?:lat|latitude|latitud|latitudine|breite|breitengrad|breedtegraad|ycoord|bredde|breddegrad"
    "|breddgrad|szerokość|szerokośćgeograficzna|šířka|leveysaste|leveys|šírka"
    "|широта)"
)
_LON = (
    "(?:lon|lng|long|longitude|longitud|longitudine|laenge|länge|längengrad|laengengrad"
    "|lengtegraad|xcoord|længde|længdegrad|lengde|lengdegrad|längd|längdgrad|długość"
    "|długośćgeograficzna|délka|pituusaste"
    "|pituus|dĺžka|долгота)"
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
_NAMES_PLACE = re.compile(_LAT + r"|\by|_y\b")
_MOST_WORDS = 5
_LONGEST_NAME = 80


@dataclass(frozen=True)
class Columns:
    """Which column holds what (numbers from 0), the unit of speed in m/s, whether the names say
    that times are UTC, how many columns there are, and their names, in small letters."""

    at: dict[str, int] = field(default_factory=dict)
    speed_unit_m_s: float = 1.0
    utc: bool = False
    width: int = 0
    names: tuple[str, ...] = ()

    def __contains__(self, name: str) -> bool:
        return name in self.at


def columns(names: Sequence[str]) -> Columns:
    """The columns that names stand for. Where several hold a time, one that says UTC is taken."""
    at: dict[str, int] = {}
    utc_of: dict[str, bool] = {}
    unit_m_s = 1.0
    for index, name in enumerate(names):
        whole = re.sub(r"[\W_]", "", name.casefold())
        bare = re.sub(r"[\W_]", "", re.sub(r"[(\[].*?[)\]]", "", name.casefold())) or whole
        utc = bool(re.search("utc|gmt", whole))
        speed = _SPEED.match(whole)
        if speed and whole[speed.end() :] in _UNITS:
            if "speed_m_s" not in at:
                at["speed_m_s"] = index
                unit_m_s = _UNITS[whole[speed.end() :]]
            continue
        patterns = _PATTERNS if len(bare) <= _LONGEST_NAME else {}
        kind = next((k for k, p in patterns.items() if p.fullmatch(bare)), None)
        if kind and (kind not in at or (utc and not utc_of[kind] and kind in ("time", "date"))):
            at[kind], utc_of[kind] = index, utc
    if "lat" not in at and "lon" not in at and "time" in at:
        plain = [n.strip().strip("\"'").casefold().removeprefix("point_") for n in names]
        if "x" in plain and "y" in plain:
            at["lon"], at["lat"] = plain.index("x"), plain.index("y")
    if "time" not in at and "date" in at:
        at["time"], utc_of["time"] = at.pop("date"), utc_of["date"]
    utc = any(utc_of.get(kind, False) for kind in ("time", "date", "hour"))
    return Columns(at, unit_m_s, utc, len(names), tuple(n.casefold() for n in names))


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
            if "lat" in found and "lon" in found and _heads(names, split[k + 1 :], parter, found):
                return at, parter, found
        at += len(line) + 1
    return None


def _heads(names: list[str], below: list[str], parter: str, found: Columns) -> bool:
    """Whether names head a table: short, and the line below has about as many columns.

    Words with nothing but spaces between them have to be followed by numbers, or are prose.
    """
    following = next((line for line in below if line.strip()), "")
    if parter == " ":
        cells = following.split()
        number = re.compile(r"-?\d+[.,]?\d*")
        return len(cells) == len(names) and all(
            number.fullmatch(cells[found.at[c]]) for c in ("lat", "lon")
        )
    as_many = not following or 2 * (following.count(parter) + 1) > len(names)
    return as_many and all(len(name.split()) <= _MOST_WORDS for name in names)
