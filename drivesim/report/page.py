"""Template and data → one HTML page that needs nothing else and may run nothing else; imports jinja2."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from functools import cache
from importlib import resources
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

STYLES = ("uplot.min.css", "page.css", "results.css", "print.css")
SCRIPTS = (
    "data.js", "clock.js", "chart.js", "strip.js", "charts.js", "scene.js", "top_view.js", "player.js", "main.js",
)  # fmt: skip
LIBRARY, ITS_LICENCE = "uplot.min.js", "uplot.LICENSE"
#: what would end a data block, or a line in old browsers, as JSON may write it instead
ESCAPES = {sign: f"\\u{ord(sign):04x}" for sign in "<>&\u2028\u2029"}

#: what no page may hold: control characters but tab and new line, what turns the direction of writing, and halves of
#: characters
UNFIT = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]")


def render(
    template: str,
    data: dict[str, Any] | None = None,
    /,
    *,
    script_files: tuple[str, ...] = SCRIPTS,
    **context: Any,
) -> str:
    """Return the page that ``template`` makes of ``context``.

    ``data``: what its ``script_files`` show; a page without has no scripts.  Texts are escaped; the page's policy
    lets only the styles and scripts of this package run, by their hashes, and nothing be fetched.
    """
    style = "\n".join(_asset(name) for name in STYLES)
    scripts = [] if data is None else [_library(), _own_script(script_files)]
    allowed = " ".join(_hash(script) for script in scripts) or "'none'"
    policy = (
        "default-src 'none'; img-src data:; base-uri 'none'; form-action 'none'; "
        f"style-src {_hash(style)}; script-src {allowed}"
    )
    page = (
        _environment()
        .get_template(template)
        .render(
            **context,
            policy=Markup(policy),
            style=Markup(style),
            scripts=[Markup(script) for script in scripts],
            data=None if data is None else Markup(as_data(data)),
        )
    )
    return UNFIT.sub("\ufffd", page)


def as_data(data: dict[str, Any]) -> str:
    """Return ``data`` as JSON that cannot end the element it stands in."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for sign, written in ESCAPES.items():
        text = text.replace(sign, written)
    return text


def picture(png: bytes) -> str:
    """Return a PNG as an address that holds it."""
    return "data:image/png;base64," + base64.b64encode(png).decode("ascii")


@cache
def _asset(name: str) -> str:
    return (resources.files("drivesim.report") / "assets" / name).read_text(encoding="utf-8").strip()


@cache
def _library() -> str:
    """Return the plotting library with its licence, which has to go with every copy."""
    return f"/*\n{_asset(ITS_LICENCE)}\n*/\n{_asset(LIBRARY)}"


@cache
def _own_script(names: tuple[str, ...]) -> str:
    """Return our scripts as one, in a scope of its own."""
    return '(() => {\n"use strict";\n' + "\n".join(_asset(name) for name in names) + "\n})();"


def _hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode('utf-8')).digest()).decode('ascii')}'"


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("drivesim.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
