"""Make the worked pages' outputs and pictures anew, by the pages' own commands.

    python docs/studies/pages.py                    # README.md and every page of docs/ with pictures
    python docs/studies/pages.py README.md docs/size.md …
    python docs/studies/pages.py --pictures …       # leaves the pages' words alone
    python docs/studies/pages.py --studies          # docs/coordination.md and docs/recovery.md, by their own scripts

Runs the ``console`` blocks of each page in order, in a copy of scenarios/.  A ``text`` block right after a console
block gets what its last command prints.  A picture that is followed by the comment <!-- from FILE --> is copied from
FILE, relative to where the commands ran; <!-- from FILE by COMMAND --> runs that command first, which the page does
not show.
"""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
BLOCK = re.compile(
    r"^```console\n(?P<commands>.*?)^```\n(?:\n```text\n(?P<output>.*?)^```\n)?", re.MULTILINE | re.DOTALL
)
PICTURE = re.compile(
    r"!\[[^]]*\]\((?P<picture>[^)]+)\)\s*<!-- from (?P<source>\S+)(?: by (?P<command>[^>]+?))? -->"
)
STUDIES = ("coordination.py", "recovery.py")  # many minutes each


def run(command: str, place: Path) -> str:
    """Run one command of a page in ``place`` and return what it prints; raises where it fails."""
    words = shlex.split(command)
    target = None
    if ">" in words:
        target = place / words[words.index(">") + 1]
        words = words[: words.index(">")]
    program = [sys.executable, "-m", "drivesim"] if words[0] == "drivesim" else words[:1]
    done = subprocess.run([*program, *words[1:]], cwd=place, capture_output=True, text=True, check=False)
    if done.returncode not in (0, 1):
        raise SystemExit(f"{command}: ended with {done.returncode}: {done.stderr}")
    if target is not None:
        target.write_text(done.stdout, encoding="utf-8")
    return "\n".join(line.rstrip() for line in done.stdout.strip("\n").splitlines()) + "\n"


def remade(text: str, place: Path) -> str:
    """Return a page's text with the outputs of its commands, run in ``place``."""

    def block(found: re.Match[str]) -> str:
        printed = ""
        for line in found["commands"].splitlines():
            if line.startswith("$ "):
                sys.stderr.write(f"{line}\n")
                printed = run(line[2:], place)
        head = f"```console\n{found['commands']}```\n"
        return head if found["output"] is None else f"{head}\n```text\n{printed}```\n"

    return BLOCK.sub(block, text)


def remake(page: Path, *, words: bool = True) -> None:
    """Write a page's ``words`` and pictures anew; nothing of it changes where a command fails."""
    before = page.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        shutil.copytree(ROOT / "scenarios", place / "scenarios")
        text = remade(before, place)
        found = list(PICTURE.finditer(text))
        for command in dict.fromkeys(one["command"] for one in found if one["command"]):
            sys.stderr.write(f"{command}\n")
            run(command, place)
        missing = [one["source"] for one in found if not (place / one["source"]).is_file()]
        if missing:
            raise SystemExit(f"{page}: its commands made no {', '.join(missing)}")
        for one in found:
            shutil.copyfile(place / one["source"], page.parent / one["picture"])
    if words and text != before:
        if page.read_text(encoding="utf-8") != before:
            raise SystemExit(f"{page}: was edited meanwhile; its pictures are new, its words were left alone")
        page.write_text(text, encoding="utf-8")


def with_pictures() -> list[Path]:
    """Return README.md and the pages of docs/ that have pictures made by their commands."""
    pages = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
    return [page for page in pages if PICTURE.search(page.read_text(encoding="utf-8"))]


def main() -> None:
    """Remake the pages named on the command line, or all."""
    names = [name for name in sys.argv[1:] if name != "--pictures"]
    if names == ["--studies"]:
        for script in STUDIES:
            subprocess.run([sys.executable, ROOT / "docs" / "studies" / script], check=True)
        return
    for page in [Path(name) for name in names] or with_pictures():
        remake(page, words="--pictures" not in sys.argv)


if __name__ == "__main__":
    main()
