"""How the manual is built, without the network.

python -m sphinx -W --keep-going -n -b html docs BUILD
"""

from __future__ import annotations

import sys
from importlib.metadata import version as version_of
from pathlib import Path

from pygments.lexers.special import TextLexer
from sphinx.application import Sphinx

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

project = "drivesim"
version = release = version_of("drivesim")
html_title = f"drivesim {version}"
html_short_title = "drivesim"
project_copyright = ""
language = "en"

extensions = ["myst_parser", "sphinx.ext.autodoc"]
source_suffix = {".md": "markdown"}
exclude_patterns = ["studies", "_build"]
myst_heading_anchors = 3
myst_links_external_new_tab = False
pygments_style = "default"
pygments_dark_style = "native"
highlight_language = "none"

smartquotes = False  # two dashes are two dashes
nitpicky = True
#: types of others, whose own manuals are not at hand without a network
nitpick_ignore_regex = [
    ("py:.*", r"(xr|xarray|pd|pandas|np|numpy|os|pathlib|collections|contextlib)\..*"),
    ("py:.*", r"(Path|PathLike|Callable|Sequence|Mapping|NDArray|Array|Any)"),
]
autodoc_member_order = "bysource"
autodoc_typehints_format = "short"
python_use_unqualified_type_names = True

html_theme = "furo"
html_copy_source = False
html_show_sourcelink = False
html_show_sphinx = False
html_show_copyright = False
html_static_path = ["_static"]
html_css_files = ["own.css"]
templates_path: list[str] = []

# the colours of drivesim/plots/style.py: ink, faint, pale and ground, one blue; contrast 7:1 and more for text
INK, FAINT, PALE, GROUND, BLUE = "#222222", "#555555", "#BDBDBD", "#F3F0EB", "#00507D"
html_theme_options = {
    "light_css_variables": {
        "font-stack": "'DejaVu Sans', Verdana, system-ui, sans-serif",
        "font-stack--monospace": "'DejaVu Sans Mono', ui-monospace, monospace",
        "color-foreground-primary": INK,
        "color-foreground-secondary": FAINT,
        "color-foreground-muted": FAINT,
        "color-foreground-border": FAINT,
        "color-background-primary": "#FFFFFF",
        "color-background-secondary": GROUND,
        "color-background-hover": "#E3DED6",
        "color-background-border": "#D8D2C8",
        "color-brand-primary": INK,
        "color-brand-content": BLUE,
        "color-brand-visited": "#6B3A5B",
        "color-sidebar-background": GROUND,
        "color-sidebar-link-text--top-level": INK,
        "color-inline-code-background": "#F6F4F0",
        "color-table-header-background": GROUND,
        "color-api-name": BLUE,
        "color-api-pre-name": FAINT,
        "color-table-border": "#D8D2C8",
    },
    "dark_css_variables": {
        "color-foreground-primary": "#E8E4DC",
        "color-foreground-secondary": "#BDB8AE",
        "color-foreground-muted": "#A8A39A",
        "color-background-primary": "#1B1A18",
        "color-background-secondary": "#242320",
        "color-background-hover": "#34322E",
        "color-inline-code-background": "#242320",
        "color-background-border": "#3A3833",
        "color-brand-primary": "#E8E4DC",
        "color-brand-content": "#7CC4EE",
        "color-brand-visited": "#D9A3C2",
        "color-sidebar-background": "#242320",
        "color-sidebar-link-text--top-level": "#E8E4DC",
        "color-table-header-background": "#242320",
        "color-api-name": "#7CC4EE",
        "color-api-pre-name": "#BDB8AE",
        "color-table-border": "#3A3833",
    },
}


#: what the theme leaves out for those who read by ear or keyboard
AIDS = {
    '<p class="caption" role="heading">': '<p class="caption" role="heading" aria-level="2">',
    '<aside class="sidebar-drawer">': '<aside class="sidebar-drawer" aria-label="Pages">',
    '<aside class="toc-drawer">': '<aside class="toc-drawer" aria-label="On this page">',
    "<pre>": '<pre tabindex="0">',  # may be wider than the page: the arrow keys move it then
}


def aid(app: Sphinx, error: Exception | None) -> None:
    """Put these aids into every page that was written."""
    if error is not None or app.builder.format != "html":
        return
    for path in Path(app.outdir).rglob("*.html"):
        text = new = path.read_text(encoding="utf-8")
        for found, better in AIDS.items():
            new = new.replace(found, better)
        if new != text:
            path.write_text(new, encoding="utf-8")


def setup(app: Sphinx) -> None:
    """Write the generated pages before anything is read."""
    from reference_pages import write

    app.connect("builder-inited", lambda _: write(HERE / "generated"))
    app.connect("build-finished", aid)
    app.add_lexer("csv", TextLexer)
