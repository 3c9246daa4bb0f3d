"""The folder in other hands: DuckDB alone, and what GeoParquet 1.1 asks for."""

from __future__ import annotations

import json
import shutil
from datetime import date

import duckdb
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import shapely

from oplog import log
from oplog.events import EntryStruck, FieldDrawn, VisitSaid
from tests.logs import FARM, measured, moment, new_log, note, own_configuration, with_import

__all__ = ["own_configuration"]

PLAIN_SELECT = """
WITH e AS (
    SELECT DISTINCT ON (event_id) * FROM read_parquet('LOG/events/*.parquet', union_by_name = true)
)
SELECT day, round(sum(worked_m2) / 10000, 2)
FROM e
WHERE type = 'work.measured' AND event_id NOT IN (SELECT unnest(supersedes) FROM e)
GROUP BY day ORDER BY day
"""


def asked(made: log.Log, select: str = PLAIN_SELECT) -> list[tuple]:
    return duckdb.connect().execute(select.replace("LOG", made.path.as_posix())).fetchall()


def corrected(folder) -> log.Log:
    """Three days: one corrected, one struck, one as it was; one file doubled, one torn aside."""
    made = new_log(folder)
    made.append([measured(0, worked_m2=10_000.0)])
    made.append([measured(1, worked_m2=20_000.0)])
    made.append([measured(2, worked_m2=30_000.0)])
    wrong, struck = measured(1, worked_m2=20_000.0), measured(2, worked_m2=30_000.0)
    said = VisitSaid(
        visit=wrong.visit,
        machine="blue",
        field="Long Ground",
        day=wrong.day,
        started_at=moment(1),
        ended_at=moment(1, 7200),
        implement="roller",
        supersedes=(wrong.event_id,),
        because="it was the roller",
    )
    made.append([said, measured(1, worked_m2=24_960.0, said=(said.event_id,))])
    made.append([EntryStruck(supersedes=(struck.event_id,), because="not our field")])
    doubled = next((made.path / "events").glob("*.parquet"))
    shutil.copy(doubled, made.path / "events" / "Copy of it.parquet")
    (made.path / "events" / "x.parquet.0a1b2c3d.writing").write_bytes(b"half")
    return made


EXPECTED = [(date(2026, 3, 1), 1.0), (date(2026, 3, 2), 2.5)]


def test_one_plain_select_answers_hectares_a_day(tmp_path):
    made = corrected(tmp_path / "log")
    assert asked(made) == EXPECTED
    made.tidy()
    assert asked(made) == EXPECTED


def test_it_answers_where_some_types_are_absent_from_every_file(tmp_path):
    assert asked(with_import(tmp_path / "log")) == [(date(2026, 3, 2), 1.23)]


def test_times_are_utc_and_geometries_are_geometries(tmp_path):
    made = with_import(tmp_path / "log")
    glob = made.events_glob
    described = duckdb.connect().execute(
        "DESCRIBE FROM read_parquet($glob, union_by_name = true)", {"glob": glob}
    )
    types = {name: kind for name, kind, *_ in described.fetchall()}
    for name in ("started_at", "ended_at", "first_at", "written_at", "stated_at"):
        assert types[name] == "TIMESTAMP WITH TIME ZONE"
    assert types["day"] == "DATE"
    assert types["settings"] == "MAP(VARCHAR, DOUBLE)"
    (instant,) = (
        duckdb.connect()
        .execute(
            "SELECT epoch_us(started_at) FROM read_parquet($glob, union_by_name = true) "
            "WHERE type = 'work.measured'",
            {"glob": glob},
        )
        .fetchone()
    )
    assert instant == moment(1).timestamp() * 1e6


@pytest.mark.parametrize("tidied", [False, True])
def test_files_are_geoparquet_of_version_1_1(tidied, tmp_path):
    # Source of the rules: GeoParquet specification 1.1.0, "Metadata" and "Column metadata".
    made = with_import(tmp_path / "log")
    made.append([note("a")])
    outline = shapely.box(-1.5, 52.0, -1.4, 52.1).wkb
    made.append([FieldDrawn(field="a", farm="b", geometry=outline, boundary_m2=1.0)])
    if tidied:
        made.tidy()
    described = 0
    for path in (made.path / "events").glob("*.parquet"):
        file = pq.ParquetFile(path)
        metadata = file.metadata.metadata or {}
        roots = set(file.schema_arrow.names)
        names = ("geometry", "missed", "overlap", "bouts", "unseen")
        present = [n for n in names if n in roots]
        if not present:
            assert b"geo" not in metadata
            continue
        described += 1
        geo = json.loads(metadata[b"geo"])
        assert geo["version"] == "1.1.0"
        assert geo["primary_column"] == "geometry"
        assert list(geo["columns"]) == present
        for name, column in geo["columns"].items():
            assert column["encoding"] == "WKB"
            assert column["geometry_types"] == []
            assert file.schema_arrow.field(name).type == pa.binary()
    assert described == (1 if tidied else 2)


def test_every_file_has_the_declared_type_for_every_column(tmp_path):
    made = with_import(tmp_path / "log")
    made.append([note("a")])
    made.append([measured(3, geometry=None, doubts=(), spans=0, settings={})])
    types: dict[str, pa.DataType] = {}
    for path in (made.path / "events").glob("*.parquet"):
        for column in pq.read_schema(path):
            assert types.setdefault(column.name, column.type) == column.type
            assert column.type != pa.null()
    assert types["started_at"] == pa.timestamp("us", tz="UTC")
    assert types["supersedes"] == pa.list_(pa.field("element", pa.string()))


def test_a_farm_with_any_name_can_be_read(tmp_path):
    made = log.create(tmp_path / "it's a log; --", "O'Brien's", FARM[1])
    made.append([measured(0, worked_m2=10_000.0)])
    found = duckdb.connect().execute(
        "SELECT farm_name FROM read_parquet($glob, union_by_name = true) WHERE farm_name <> ''",
        {"glob": made.events_glob},
    )
    assert found.fetchall() == [("O'Brien's",)]
