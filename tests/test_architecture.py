"""The shape of the house, held by reading its own source."""

import ast
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from functools import cache
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
HOUSE = ROOT / "oplog"

FLOOR = {
    "records": -1,
    "errors": 0,
    "units": 0,
    "track": 1,
    "land": 1,
    "kit": 1,
    "geodesy": 1,
    "events": 1,
    "readers": 2,
    "work": 3,
    "fold": 4,
    "ground": 5,
    "season": 5,
    "log": 5,
    "query": 6,
    "sheets": 7,
    "flow": 7,
    "cli": 8,
    "__main__": 9,
}
"""A room reaches only for rooms on lower floors: the flow from file to sheet never turns back."""

KEEPERS = {
    "pyarrow": {"log"},
    "duckdb": {"query"},
    "pyproj": {"geodesy"},
    "pyogrio": {"readers", "sheets"},
    "click": {"cli"},
    "rich": {"sheets", "cli"},
    "jinja2": {"sheets"},
}
"""Libraries that only these rooms know of, so that each can be replaced in one place."""

PURE = ("units", "track", "land", "kit", "geodesy", "events", "work", "fold", "ground", "season")
"""Rooms that take values and give values: no path, clock, chance, database or terminal."""

IMPURE_MODULES = {"os", "pathlib", "io", "time", "random", "secrets", "subprocess", "sys", "socket"}
IMPURE_CALLS = {"open", "print", "input", "now", "today", "utcnow", "time_ns", "default_rng"}

HEAVY = ("numpy", "shapely", "pyarrow", "duckdb", "pyproj", "jinja2", "gpxpy", "pyogrio")
"""Never needed to show the help; rich and click are judged by time (see benchmarks)."""

LONGEST_FUNCTION = 60


@cache
def modules() -> tuple[tuple[Path, ast.Module], ...]:
    return tuple((p, ast.parse(p.read_text("utf-8"))) for p in sorted(HOUSE.rglob("*.py")))


def room_of(path: Path) -> str:
    return path.relative_to(HOUSE).parts[0].removesuffix(".py")


@cache
def nodes(tree: ast.AST) -> tuple[ast.AST, ...]:
    """All of a tree, walked once."""
    return tuple(ast.walk(tree))


def imported(path: Path, tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Line and full dotted name of everything a module imports, wherever in it."""
    package = [*path.relative_to(ROOT).parent.parts]
    for node in nodes(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                above = package[: len(package) - node.level + 1]
                base = ".".join([*above, base] if base else above)
            yield from ((node.lineno, f"{base}.{alias.name}") for alias in node.names)


def functions(tree: ast.AST) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    """All functions of a tree. No expression holds one, so that none is gone into."""
    for part in ("body", "orelse", "finalbody", "handlers", "cases"):
        for statement in getattr(tree, part, ()):
            if isinstance(statement, ast.FunctionDef | ast.AsyncFunctionDef):
                yield statement
            yield from functions(statement)


def body_lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of a function without its docstring."""
    first = function.body[0]
    documented = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
    doc = (first.end_lineno or first.lineno) - first.lineno + 1 if documented else 0
    return (function.end_lineno or function.lineno) - function.lineno + 1 - doc


def test_every_room_has_its_floor():
    rooms = {room_of(path) for path, _ in modules()} - {"__init__"}
    assert rooms <= set(FLOOR), "give a new room its floor here and in DEVELOPERS.md"


def test_a_room_reaches_only_for_lower_ones():
    wrong = []
    for path, tree in modules():
        room = room_of(path)
        for line, name in imported(path, tree):
            parts = name.split(".")
            if parts[0] != "oplog" or len(parts) < 2 or parts[1] not in FLOOR:
                continue
            if parts[1] != room and FLOOR[parts[1]] >= FLOOR.get(room, -2):
                wrong.append(f"{path.relative_to(ROOT)}:{line}: {room} reaches for {parts[1]}")
    assert not wrong, "\n".join(wrong)


def test_the_floors_leave_no_circle_within_a_room():
    """Modules of one package import each other in one direction only (at import time)."""
    graph: dict[str, set[str]] = {}
    for path, tree in modules():
        own = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        top = ast.Module([n for n in tree.body if isinstance(n, ast.Import | ast.ImportFrom)], [])
        graph[own] = {name for _, name in imported(path, top)} - {own}
    known = {
        m: {n for d in deps for n in graph if d in (n, f"{n}.{d.rpartition('.')[2]}")}
        for m, deps in graph.items()
    }
    done: set[str] = set()

    def visit(module: str, above: tuple[str, ...]) -> None:
        assert module not in above, " -> ".join([*above, module])
        if module not in done:
            for below in sorted(known[module] - {module}):
                if not module.startswith(f"{below}."):
                    visit(below, (*above, module))
            done.add(module)

    for module in sorted(known):
        visit(module, ())


def test_libraries_stay_with_their_keepers():
    wrong = [
        f"{path.relative_to(ROOT)}:{line}: {name}"
        for path, tree in modules()
        for line, name in imported(path, tree)
        if room_of(path) not in KEEPERS.get(name.split(".")[0], {room_of(path)})
    ]
    assert not wrong, "\n".join(wrong)


def test_pure_rooms_are_pure():
    wrong = []
    for path, tree in modules():
        if room_of(path) not in PURE:
            continue
        wrong += [
            f"{path.relative_to(ROOT)}:{line}: imports {name}"
            for line, name in imported(path, tree)
            if name.split(".")[0] in IMPURE_MODULES
        ]
        for node in nodes(tree):
            if isinstance(node, ast.Call):
                name = getattr(node.func, "id", getattr(node.func, "attr", ""))
                if name in IMPURE_CALLS:
                    wrong.append(f"{path.relative_to(ROOT)}:{node.lineno}: calls {name}")
    assert not wrong, "\n".join(wrong)


CONVERSIONS = (3.6, 0.3048, 0.0254, 1609.344, 4046.8564224, 0.45359237, 1.852, 1.609344, 2.4711)
"""Factors between units. 3600 and 10000 count where a figure is scaled by them; whole numbers that
multiply are clock sums (hours of a time of day into seconds)."""


def test_every_conversion_is_in_units():
    wrong = []
    for path, tree in modules():
        if room_of(path) == "units":
            continue
        for node in nodes(tree):
            factors: list[ast.expr] = []
            if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Mult | ast.Div):
                factors = [node.left, node.right]
            values = [f.value for f in factors if isinstance(f, ast.Constant)]
            wrong += [
                f"{path.relative_to(ROOT)}:{node.lineno}: {value}"
                for value in values
                if value in (3600, 10_000)
                and (isinstance(value, float) or isinstance(node.op, ast.Div))
            ]
            if isinstance(node, ast.Constant) and node.value in CONVERSIONS:
                wrong.append(f"{path.relative_to(ROOT)}:{node.lineno}: {node.value}")
    assert not wrong, "\n".join(wrong)


def test_functions_stay_short():
    files = [*modules()]
    for folder in ("benchmarks", "tests", "sample_tracks"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            files.append((path, ast.parse(path.read_text("utf-8"))))
    long = [
        f"{path.relative_to(ROOT)}:{f.lineno}: {f.name} has {body_lines(f)} lines"
        for path, tree in files
        for f in functions(tree)
        if body_lines(f) > LONGEST_FUNCTION
    ]
    assert not long, "\n".join(long)


def test_what_is_public_says_what_it_is():
    bare = []
    for path, tree in modules():
        if ast.get_docstring(tree) is None:
            bare.append(f"{path.relative_to(ROOT)}: no docstring")
        for node in tree.body:
            public = isinstance(node, ast.FunctionDef | ast.ClassDef)
            if public and not node.name.startswith("_") and ast.get_docstring(node) is None:
                bare.append(f"{path.relative_to(ROOT)}:{node.lineno}: {node.name}")
    assert not bare, "\n".join(bare)


def test_nothing_is_imported_that_is_not_declared():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["boundaries"]]
    declared = {re.split(r"[^A-Za-z0-9_.-]", d)[0].lower().replace("_", "-") for d in wanted}
    known = packages_distributions()
    wrong = []
    for path, tree in modules():
        for line, name in imported(path, tree):
            top = name.split(".")[0]
            owners = {d.lower().replace("_", "-") for d in known.get(top, [])}
            if top not in sys.stdlib_module_names and top != "oplog" and not owners & declared:
                wrong.append(f"{path.relative_to(ROOT)}:{line}: {name}")
    assert not wrong, "\n".join(wrong)


def test_the_help_needs_nothing_heavy():
    script = (
        "import sys; sys.argv = ['oplog', '--help']\n"
        "from oplog.cli import main\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        f"print('heavy:', *[m for m in {HEAVY!r} if m in sys.modules])"
    )
    run = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert run.stdout.splitlines()[-1].strip() == "heavy:", run.stdout[-200:]
    assert "Usage" in run.stdout


def test_the_map_in_developers_is_true():
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    told = {m[2]: int(m[1]) for m in re.finditer(r"^\| (-?\d) \| `(\w+)` \|", text, re.MULTILINE)}
    assert told == FLOOR
    named = re.findall(r"`((?:oplog|tests|benchmarks|queries|\.ci)/[\w/.-]*)`", text)
    assert len(named) > 10
    assert not [n for n in named if not (ROOT / n).exists()]


# --- what the repository must not hold -------------------------------------------------------


def tracked() -> list[Path]:
    try:
        listed = subprocess.run(
            ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True
        ).stdout.decode()
    except (OSError, subprocess.CalledProcessError):
        return sorted(p for p in ROOT.rglob("*") if p.suffix in (".py", ".md", ".toml", ".sql"))
    return [ROOT / name for name in listed.split("\0") if name]


def lines_with(pattern: str, paths: list[Path]) -> list[str]:
    found = []
    for path in paths:
        if not path.is_file() or b"\0" in (data := path.read_bytes())[:4096]:
            continue
        text = data.decode("utf-8", "replace")
        if not re.search(pattern, text):  # as in nearly all, and far quicker than line by line
            continue
        for number, line in enumerate(text.splitlines(), 1):
            if re.search(pattern, line):
                found.append(f"{path.relative_to(ROOT)}:{number}: {line.strip()[:100]}")
    return found


@pytest.mark.parametrize(
    ("what", "pattern"),
    [
        ("a folder of somebody's machine", r"(?<![\w:/.$}])/(?:home|root|opt|work|Users|mnt)/\w"),
        ("a package index", r"--(?:extra-)?index[-]url|https?://[^/ ]*py[p]i"),
        ("work left undone", r"\b(?:TO[D]O|FIX[M]E|XX[X]|raise [N]otImplemented)\b"),
    ],
)
def test_no_file_holds(what, pattern):
    found = lines_with(pattern, tracked())
    assert not found, f"{what}:\n" + "\n".join(found)


def test_tests_are_left_out_for_one_reason_only():
    """Recorded data that is not there (tests/corpus.py); nothing else is ever passed over."""
    tests = [p for p in tracked() if p.suffix == ".py" and p.name != "corpus.py"]
    found = lines_with(r"pytest\.(?:mark\.)?(?:[s]kip|[x]fail|import[o]rskip)", tests)
    assert not found, "\n".join(found)


def test_the_top_level_is_as_designed():
    kept = {
        *("README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", ".gitignore", ".ci"),
        *("oplog", "tests", "sample_tracks", "queries", "benchmarks"),
    }
    assert {p.relative_to(ROOT).parts[0] for p in tracked()} <= kept
