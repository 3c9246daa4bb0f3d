"""From a page's view to one HTML file: templates with every name escaped, and a content security
policy that lets nothing run and nothing be fetched."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from pathlib import Path
from typing import Any

_TEMPLATES = Path(__file__).parent / "templates"


def render(template: str, **view: Any) -> str:
    """The HTML text of a page.

    The style stands in the page and is named in its policy by its digest; no attribute holds
    style, so nothing that a name could bring in would be styled, run or fetched.
    """
    style = _style()
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    html: str = _environment().get_template(template).render(policy=policy, style=style, **view)
    return "\n".join(line for line in (x.strip() for x in html.splitlines()) if line) + "\n"


@cache
def _environment() -> Any:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    from oplog.sheets.text import clean

    environment.finalize = lambda value: clean(value) if type(value) is str else value
    return environment


@cache
def _style() -> str:
    lines = (_TEMPLATES / "sheet.css").read_text("utf-8").splitlines()
    return "\n".join(line.strip() for line in lines if line.strip())
