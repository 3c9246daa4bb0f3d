"""A real browser for the tests: Debian's Chromium, spoken to through a pipe.

OPLOG_CHROMIUM names the program; otherwise the first of the usual names on the PATH. Where there
is none, the tests of pages in a browser are left out and the run says so (conftest.py), unless
OPLOG_NEEDS_BROWSER is set, as it is in the run of all checks.
"""

from __future__ import annotations

import base64
import fcntl
import json
import os
import select
import shutil
import subprocess
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--hide-scrollbars",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-dev-shm-usage", "--remote-debugging-pipe", "--force-color-profile=srgb",
)  # fmt: skip
CHECKS = (Path(__file__).parent / "page_checks.js").read_text("utf-8")

LONGEST_S = 60
"""The browser answers within this, or has come to harm."""

DESKTOP, PHONE, PRINT = (1280, 900), (360, 740), (794, 1123)
"""Sizes in dots; the last is A4 at 96 to the inch."""


def program() -> str | None:
    """The browser, where there is one."""
    named = os.environ.get("OPLOG_CHROMIUM")
    return named or next((p for n in NAMES if (p := shutil.which(n))), None)


def required() -> bool:
    """Whether the tests in a browser must be run here."""
    return bool(os.environ.get("OPLOG_NEEDS_BROWSER"))


@dataclass
class Seen:
    """What came of opening a page: problems found in it, messages, and requests beyond it."""

    problems: list[str] = field(default_factory=list)
    messages: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)


class Browser:
    """A running browser. Holds one connection and one tab."""

    def __init__(self) -> None:
        name = program()
        assert name, "no Chromium is installed, and OPLOG_CHROMIUM names none"
        self._folder = tempfile.TemporaryDirectory(prefix="oplog-browser-")
        read_end, theirs_out = os.pipe()
        theirs_in, write_end = os.pipe()

        def where_it_looks() -> None:
            """The browser reads from 3 and writes to 4, whatever these were here."""
            high = [fcntl.fcntl(fd, fcntl.F_DUPFD, 10) for fd in (theirs_in, theirs_out)]
            os.dup2(high[0], 3)
            os.dup2(high[1], 4)

        self._process = subprocess.Popen(
            [name, *FLAGS, f"--user-data-dir={self._folder.name}"],
            pass_fds=(3, 4), preexec_fn=where_it_looks,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        os.close(theirs_in)
        os.close(theirs_out)
        self._in, self._out = os.fdopen(write_end, "wb", 0), os.fdopen(read_end, "rb", 0)
        self._number, self._rest = 0, b""
        self._events: list[dict[str, Any]] = []
        self._session = self._page = ""
        target = self._send("Target.createTarget", url="about:blank")["targetId"]
        attached = self._send("Target.attachToTarget", targetId=target, flatten=True)
        self._session = attached["sessionId"]
        for domain in ("Page", "Runtime", "Network", "Log"):
            self._send(f"{domain}.enable")

    def close(self) -> None:
        """End the browser."""
        try:
            self._session = ""
            self._send("Browser.close")
            self._process.wait(10)
        except (OSError, AssertionError, subprocess.TimeoutExpired):
            self._process.kill()
        self._in.close()
        self._out.close()
        self._folder.cleanup()

    def open(
        self,
        page: Path,
        size: tuple[int, int] = DESKTOP,
        *,
        dark: bool = False,
        paper: bool = False,
    ) -> Seen:
        """Open a page at a size, on a screen or as paper, and look it over (page_checks.js)."""
        self._events.clear()
        self._size(size, dark, paper)
        self._page = page.as_uri()
        self._send("Page.navigate", url=self._page)
        while not any(e["method"] == "Page.loadEventFired" for e in self._events):
            self._read()
        return self._seen(paper)

    def again(self, size: tuple[int, int], *, dark: bool = False, paper: bool = False) -> Seen:
        """The open page looked over at another size; messages and requests since it was opened."""
        self._size(size, dark, paper)
        return self._seen(paper)

    def ask(self, expression: str) -> Any:
        """The value of an expression in the page."""
        answer = self._send("Runtime.evaluate", expression=expression, returnByValue=True)
        assert "exceptionDetails" not in answer, answer
        return answer["result"].get("value")

    def picture(self, path: Path) -> None:
        """Save all of the page as a PNG file."""
        shot = self._send("Page.captureScreenshot", captureBeyondViewport=True, format="png",
                          clip=self._whole())  # fmt: skip
        path.write_bytes(base64.b64decode(shot["data"]))

    def pdf(self) -> bytes:
        """The page as the browser prints it, on paper as the page asks for."""
        made = self._send("Page.printToPDF", preferCSSPageSize=True, printBackground=False)
        return base64.b64decode(made["data"])

    def _whole(self) -> dict[str, float]:
        size = self._send("Page.getLayoutMetrics")["cssContentSize"]
        return {"x": 0, "y": 0, "width": size["width"], "height": size["height"], "scale": 1}

    def _messages(self) -> list[str]:
        found = []
        for e in self._events:
            if e["method"] == "Log.entryAdded":
                found.append(e["params"]["entry"]["text"])
            elif e["method"] in ("Runtime.consoleAPICalled", "Runtime.exceptionThrown"):
                found.append(json.dumps(e["params"])[:300])
        return found

    def _beyond(self) -> list[str]:
        asked = [
            e["params"]["request"]["url"]
            for e in self._events
            if e["method"] == "Network.requestWillBeSent"
        ]
        return [url for url in asked if url != self._page]

    def _seen(self, paper: bool) -> Seen:
        problems = self.ask(f"({CHECKS})({str(paper).lower()})")
        return Seen(problems, self._messages(), self._beyond())

    def _size(self, size: tuple[int, int], dark: bool, paper: bool) -> None:
        width, height = size
        self._send(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=height, deviceScaleFactor=1, mobile=width < 500,
        )  # fmt: skip
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        media = "print" if paper else "screen"
        self._send("Emulation.setEmulatedMedia", media=media, features=[scheme])

    def _send(self, method: str, **params: Any) -> dict[str, Any]:
        self._number += 1
        message: dict[str, Any] = {"id": self._number, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        self._in.write(json.dumps(message).encode() + b"\0")
        while True:
            answer = self._read()
            if answer.get("id") == self._number:
                assert "error" not in answer, f"{method}: {answer['error']}"
                result: dict[str, Any] = answer["result"]
                return result

    def _read(self) -> dict[str, Any]:
        while b"\0" not in self._rest:
            ready, _, _ = select.select([self._out], [], [], LONGEST_S)
            assert ready, f"the browser has not answered for {LONGEST_S} s"
            part = self._out.read(1 << 16)
            assert part, "the browser has ended"
            self._rest += part
        line, _, self._rest = self._rest.partition(b"\0")
        message: dict[str, Any] = json.loads(line)
        if "method" in message:
            self._events.append(message)
        return message


def pages_of(pdf: bytes) -> int:
    """How many pages a PDF file of the browser has."""
    return pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page ") + pdf.count(b"/Type /Page/")
