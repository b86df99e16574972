"""Write the reference pages of the manual from what they are about: the models of the files, and the commands.

``conf.py`` calls ``write`` before every build; the pages go to docs/generated, which git does not keep.
"""

from __future__ import annotations

from pathlib import Path

from reference_commands import command_page
from reference_files import file_pages, log_page


def write(folder: Path) -> None:
    """Write every generated page into ``folder``; a page that is as it should be is left alone."""
    folder.mkdir(exist_ok=True)
    pages = {**file_pages(), "commands": command_page(), "bench_logs": log_page()}
    for name, text in pages.items():
        path = folder / f"{name}.md"
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8")
    for path in set(folder.glob("*.md")) - {folder / f"{name}.md" for name in pages}:
        path.unlink()
