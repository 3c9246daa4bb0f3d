"""The page of tables and questions, made from their declarations: what own SQL can build on."""

from __future__ import annotations

from oplog.query.of_log import OF_LOG
from oplog.query.question import Question, questions
from oplog.query.tables import TABLES

PURPOSES = {
    "visits": "Current work: one row for every stay of a machine in a field. Work in no field on "
    'file has the field "new ground 1" and so on, without boundary and farm, until it gets a '
    "name (oplog land accept); `ground` is the event that found it. It is in no other table.",
    "days": "One row for every machine and working day: time in fields, on roads, elsewhere.",
    "fields": "Every drawing of every field, boundary as WKB in lon/lat.",
    "crops": "What was stated to stand in fields, by harvest year.",
    "kit": "Every version of every machine and implement.",
    "jobs": "One row for each field of each job.",
    "ground": "Passes over fields, counted over days and machines: done, left and missed ground.",
    "tracks": "Every imported track.",
    "inputs": "What went out: seed, spray, fertiliser, fuel, water.",
    "input_visits": "Each input with each visit that it went to, and the visit's share of it.",
    "needs": "What jobs are to get of products a hectare.",
    "calibrations": "How drills were set.",
    "notes": "Notes on fields, machines, visits and days.",
    "customers": "One row for each field that is worked for a customer.",
    "prices": "What operations cost.",
    "entries": "What each command wrote.",
    "events": "Every event in the log, what was corrected too.",
    "fixes": "Every fix of every current track. Large: name a machine and a time.",
}
"""What each base table holds. Its columns are those of the events of the same name."""

_HEAD = """\
# Questions and the tables they build on

Made from the declarations in `oplog/query/` and the headers of the files in this folder
(`python -m tests.test_views` prints it); a test holds it to them.

A question is one SQL file that holds one SELECT. Put your own into the folder `queries/` inside
your log, or name a file: `oplog ask --sql mine.sql`. It runs in DuckDB over the tables below,
writes nothing and reaches nothing else. A header is not needed; with one (see `DEVELOPERS.md`) it
takes values and knows its units:

```sql
-- purpose: Hectares by driver
-- column:  driver varchar
-- column:  worked_ha double [ha]
SELECT driver, to_ha(sum(worked_m2)) AS worked_ha FROM visits GROUP BY driver ORDER BY driver
```

Columns are SI with the unit in their names, times are UTC, geometries WKB in lon/lat. Turn units
with `to_ha(m2)`, `to_h(s)`, `to_kmh(m_s)`, `to_ha_h(m2_s)` and `per_minute(per_s)`.
"""


def page() -> str:
    """The page as Markdown."""
    parts = [_HEAD, "## Tables\n"]
    for name, schema in _schemas().items():
        columns = ", ".join(f"`{c}` {kind.lower()}" for c, kind in schema.items())
        parts.append(f"### {name}\n\n{PURPOSES[name]}\n\n{columns}\n")
    parts.append("## Questions\n")
    parts += [_question(q) for q in questions().values()]
    return "\n".join(parts)


def _schemas() -> dict[str, dict[str, str]]:
    return {name: schema for name, (schema, _) in TABLES.items()} | OF_LOG


def _question(q: Question) -> str:
    lines = [f"### {q.name}\n", f"{q.purpose}. Reads {', '.join(q.reads)}.\n"]
    for p in q.params:
        needed = "" if p.required else " (may be left out)"
        lines.append(f"- takes `{p.name}` {p.type}{needed}: {p.meaning}")
    lines += [""] * bool(q.params)
    lines += ["| column | type | unit | |", "|---|---|---|---|"]
    lines += [f"| `{c.name}` | {c.type} | {c.unit} | {c.meaning} |" for c in q.columns]
    return "\n".join([*lines, ""])
