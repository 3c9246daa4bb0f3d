"""The rows of a table, with the numbers of their lines, round quotation marks that go wrong."""

from __future__ import annotations

import csv
from collections.abc import Iterator

from oplog.readers._tally import Tally

TOO_LONG = "a line that is far too long for a row"
_LONGEST_LINE = 1 << 20
OPEN_QUOTE = "a quotation mark that is not closed"

Numbered = tuple[int, list[str]]


def rows(
    text: str, begin: int, parter: str, first_line: int, width: int, tally: Tally
) -> Iterator[Numbered]:
    """Rows from a place in the text on; empty ones are left out.

    first_line: number of the line there; width: how many cells the header has. A quotation mark
    that is not closed would make one cell of all lines down to the next one: where what it holds
    are rows, each line is read by itself.
    """
    taken: list[str] = []
    lines = _noted(_lines(text, begin, first_line, tally), taken)
    reader = csv.reader(lines, delimiter=parter, skipinitialspace=True)
    line = first_line
    while True:
        try:
            row = next(reader)
        except StopIteration:
            return
        except csv.Error:  # a cell too long for the library, or a byte it cannot take
            row = []
        if row and (len(taken) == 1 or not _hold_rows(taken[1:], parter, width)):
            if any(cell.strip() for cell in row):
                yield line, row
        else:
            if len(taken) > 1:
                tally.add(OPEN_QUOTE, line, 1, "each line read by itself")
            for number, raw in enumerate(taken, line):
                cells = raw.split(None if parter == " " else parter)
                if any(cell.strip() for cell in cells):
                    yield number, [cell.strip() for cell in cells]
        line += len(taken)
        taken.clear()


def _lines(text: str, begin: int, number: int, tally: Tally) -> Iterator[str]:
    """Lines with their ends, one at a time, so that a long text is not held twice; empty ones for
    those that are too long: millions of cells would be made of them."""
    while begin < len(text):
        end = text.find("\n", begin) + 1 or len(text)
        if end - begin > _LONGEST_LINE:
            tally.add(TOO_LONG, number, 1, "set aside")
            yield "\n"
        else:
            yield text[begin:end]
        begin = end
        number += 1


def _noted(lines: Iterator[str], taken: list[str]) -> Iterator[str]:
    """The same lines, each put into the list as it goes by."""
    for line in lines:
        taken.append(line)
        yield line


def _hold_rows(lines: list[str], parter: str, width: int) -> bool:
    """Whether any has as many cells as the table; lines of a note have few."""
    return any(line.count(parter) >= max(width - 1, 1) for line in lines)
