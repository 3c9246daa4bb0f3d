"""Pages in a real browser, at every size: nothing is cut, lies on another, runs or fetches."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from oplog import log
from oplog.cli import main
from oplog.sheets.pages.account import account_page
from oplog.sheets.pages.day import day_page
from oplog.sheets.pages.field import field_page
from oplog.sheets.pages.job import job_page
from oplog.sheets.pages.season import season_page
from tests.browser import DESKTOP, PHONE, PRINT, Browser, pages_of
from tests.many_fields import MARKUP, day, made_day, two_seasons
from tests.sample_log import opened_sample, sample, with_memory

__all__ = ["opened_sample", "sample", "with_memory"]

pytestmark = pytest.mark.browser

Made = Callable[..., Path]

SHEETS = {
    "day": ("day", "2026-06-02"),
    "day with stops": ("day", "2026-08-06"),
    "job": ("job", "wheat harvest", "--from", "2026-08-07"),
    "job in acres": ("job", "wheat harvest", "--from", "2026-08-07", "--units", "us"),
    "day in acres": ("day", "2026-04-10", "--units", "us"),
    "finished job": ("job", "drill the beans"),
    "field": ("field", "Sallow Top"),
    "season": ("season", "2026"),
    "account": ("account", "Brook & Sons", "--vat", "20"),
}
COUNTS = (1, 2, 5, 9, 60)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all tests of this module."""
    running = Browser()
    yield running
    running.close()


@pytest.fixture
def made(sample: log.Log, tmp_path: Path, with_memory: None) -> Made:
    """Makes a sheet of the sample farm; gives its file."""

    def make(*words: str) -> Path:
        out = tmp_path / "page.html"
        assert main(["--log", str(sample.path), "sheet", *words, "--out", str(out)]) == 0
        return out

    return make


def made_up(count: int, tmp_path: Path) -> Path:
    """The sheet of a made-up day, with a name of 80 characters and one that is markup."""
    farm, trail = made_day(count, job=count < 10)
    out = tmp_path / "day.html"
    out.write_text(day_page(farm, day(), {"blue": trail}, "abcd-efgh-ijkl"), "utf-8")
    return out


def look_over(browser: Browser, page: Path) -> None:
    """On a desk and a phone, light and dark, and on paper: no fault, message or request."""
    looks = {"on a desk": browser.open(page, DESKTOP)}
    looks["on a desk, dark"] = browser.again(DESKTOP, dark=True)
    looks["on a phone"] = browser.again(PHONE)
    looks["on a phone, dark"] = browser.again(PHONE, dark=True)
    looks["on paper"] = browser.again(PRINT, paper=True)
    for where, seen in looks.items():
        assert not seen.problems, (where, seen.problems)
        assert not seen.messages, where
        assert not seen.requests, where


@pytest.mark.parametrize("name", SHEETS)
def test_sheets_of_the_sample_farm(browser: Browser, made: Made, name: str) -> None:
    look_over(browser, made(*SHEETS[name]))


@pytest.mark.parametrize("count", COUNTS)
def test_days_with_one_to_sixty_fields_and_any_names(
    browser: Browser, tmp_path: Path, count: int
) -> None:
    page = made_up(count, tmp_path)
    look_over(browser, page)
    assert browser.ask("document.querySelectorAll('main svg script, main script').length") == 0
    assert pages_of(browser.pdf()) <= 2


@pytest.mark.parametrize(
    ("kind", "count"),
    [("job", 1), ("job", 60), ("season", 1), ("season", 60), ("account", 12), ("field", 1)],
)
def test_other_sheets_with_one_to_sixty_fields_and_any_names(
    browser: Browser, tmp_path: Path, kind: str, count: int
) -> None:
    # Sixty fields of a job are laid out alike from few points as from many.
    farm, trail = made_day(count, job=kind == "job", hertz=0.2 if count == 60 else 1.0)
    now = datetime(2026, 4, 11, 6, 0, tzinfo=UTC)
    html = {
        "job": lambda: job_page(farm, MARKUP, now, "seal"),
        "season": lambda: season_page(farm, 2026, "seal"),
        "account": lambda: account_page(farm, MARKUP, None, None, 20.0, "seal"),
        "field": lambda: field_page(farm, MARKUP, 2026, lambda visit: trail, "seal"),
    }[kind]()
    page = tmp_path / "page.html"
    page.write_text(html, "utf-8")
    look_over(browser, page)


def test_a_season_after_another_and_a_day_with_doubts(browser: Browser, tmp_path: Path) -> None:
    farm = two_seasons()
    page = tmp_path / "page.html"
    for html in (
        season_page(farm, 2026, "seal"),
        day_page(farm, date(2026, 4, 3), {}, "seal"),
    ):
        page.write_text(html, "utf-8")
        look_over(browser, page)


@pytest.mark.parametrize(
    "when", ["2026-04-07", "2026-04-09", "2026-04-14", "2026-06-02", "2026-06-04", "2026-08-06"]
)
def test_a_day_prints_on_two_pages(browser: Browser, made: Made, when: str) -> None:
    browser.open(made("day", when), PRINT, paper=True)
    assert 1 <= pages_of(browser.pdf()) <= 2


def test_the_page_is_another_one_in_the_dark(browser: Browser, made: Made) -> None:
    page = made("day", "2026-04-11")
    colours = []
    for dark in (False, True):
        browser.open(page, dark=dark)
        colours.append(browser.ask("getComputedStyle(document.documentElement).backgroundColor"))
    assert colours[0] != colours[1]


FAULTS = {
    "there is a script": "<script></script>",
    "has the attribute style": "<p style='color:red'>x</p>",
    "wider than the screen": "<div class='w'>x</div>",
    "on each other": "<p class='a'>one</p><p class='a'>two</p>",
    "cut:": "<p class='c'>a long text that does not fit</p>",
    "contrast": "<p class='g'>grey</p>",
    "h4 after h1": "<h4>x</h4>",
    "without a caption": "<table><tr><td>x</td></tr></table>",
    "no scope": "<table><caption>c</caption><thead><tr><th>x</th></tr></thead></table>",
    "a picture without words": "<svg width='9' height='9'></svg>",
    "no texture": "<svg role='img' aria-label='x'><path fill='url(#none)' d='M0 0h9'/></svg>",
    "too small": "<p class='s'>small</p>",
}


@pytest.mark.parametrize("fault", FAULTS)
def test_the_looking_over_finds_faults(browser: Browser, tmp_path: Path, fault: str) -> None:
    page = tmp_path / "bad.html"
    style = (
        ".w{width:3000px}.a{position:absolute;top:90px;left:9px}.g{color:#999}.s{font-size:6px}"
        ".c{width:50px;overflow:hidden;white-space:nowrap}"
    )
    page.write_text(
        "<!DOCTYPE html><html lang='en'><meta charset='utf-8'><title>t</title>"
        "<meta http-equiv='Content-Security-Policy' content=\"default-src 'none'; "
        f"style-src 'unsafe-inline'\"><style>{style}</style>"
        f"<main><h1>Heading</h1>{FAULTS[fault]}</main></html>",
        "utf-8",
    )
    assert any(fault in p for p in browser.open(page).problems)


def test_requests_and_messages_are_noticed(browser: Browser, tmp_path: Path) -> None:
    page = tmp_path / "fetching.html"
    page.write_text("<!DOCTYPE html><title>t</title><img src='other.png' alt='x'>", "utf-8")
    seen = browser.open(page)
    assert any("other.png" in url for url in seen.requests)
    assert seen.messages


def test_a_page_fetches_nothing_even_where_a_name_got_through(
    browser: Browser, tmp_path: Path
) -> None:
    """The policy alone would stop it: markup put in by hand neither runs nor is fetched."""
    page = made_up(1, tmp_path)
    html = page.read_text("utf-8")
    bad = "<img src='other.png' alt='x'><script>document.title = 'run'</script>"
    page.write_text(html.replace("</main>", f"{bad}</main>"), "utf-8")
    seen = browser.open(page)
    assert browser.ask("document.title") != "run"
    assert any("Content Security Policy" in m for m in seen.messages)
