"""Words of the generated pages: docstrings and cells as Markdown writes them."""

from __future__ import annotations

from textwrap import dedent


def plain(text: str) -> str:
    """Return a docstring's text on one line, its literals as Markdown writes them."""
    return " ".join(dedent(text).split()).replace("``", "`").replace("[", r"\[").replace("]", r"\]")


def cell(text: str) -> str:
    """Return ``text`` so that it does not end a table's cell."""
    return text.replace("|", r"\|")
