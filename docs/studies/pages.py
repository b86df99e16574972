"""Make the worked pages' outputs and pictures anew, by the pages' own commands.

    python docs/studies/pages.py docs/compare.md docs/size.md …

Runs the ``console`` blocks of each page in order, in a copy of scenarios/.  A ``text`` block right after a console
block gets what its last command prints.  A picture that is followed by the comment <!-- from FILE --> is copied from
FILE, relative to where the commands ran.
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
PICTURE = re.compile(r"!\[[^]]*\]\((?P<picture>[^)]+)\)\s*<!-- from (?P<source>\S+) -->")


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


def main() -> None:
    """Remake the pages named on the command line."""
    for name in sys.argv[1:]:
        page = Path(name)
        with tempfile.TemporaryDirectory() as folder:
            place = Path(folder)
            shutil.copytree(ROOT / "scenarios", place / "scenarios")
            text = remade(page.read_text(encoding="utf-8"), place)
            for found in PICTURE.finditer(text):
                shutil.copyfile(place / found["source"], page.parent / found["picture"])
        page.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
