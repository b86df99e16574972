"""What the commands share: options told once, values that complete in a shell, help with examples and exit codes."""

from __future__ import annotations

import difflib
import os
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, TypeVar

import click
from click.shell_completion import CompletionItem

from drivesim.cli.console import clean
from drivesim.errors import DrivesimError

F = TypeVar("F", bound=Callable[..., Any])
YAML = (".yaml", ".yml")
MOST_ENTRIES = 2000  # of a folder, offered to a shell


class InputFile(click.ParamType):
    """A file to read, of the endings given; a shell completes only those."""

    name = "file"

    def __init__(self, what: str, endings: Sequence[str] = YAML) -> None:
        self.what, self.endings = what, tuple(endings)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """Return the path; raises DrivesimError where it can be no file."""
        path = Path(value)
        if str(value) in ("", "-"):
            found = "standard input" if value else "no name"
            raise DrivesimError(
                f"found {found}, needed: the path of {self.what}; it names files beside itself"
            )
        if path.is_dir():
            inside = path / "scenario.yaml"
            hint = f", such as {inside}" if ".yaml" in self.endings and inside.is_file() else ""
            raise DrivesimError(f"{path}: found a folder, needed: {self.what}{hint}")
        return path

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem[Any]]:
        """Return files of these endings and folders; the shell's own way where names need quotes."""
        found = _matching(incomplete, self.endings)
        while len(found) == 1 and found[0].endswith("/"):  # a folder alone: go in, or the shell adds a blank
            inside = _matching(found[0], self.endings)
            if not inside:
                break
            found = inside
        if not found or any(
            clean(name) != name or set(name) & set(" \t\n'\"\\$`,:&|;()<>*?[]!#") for name in found
        ):
            return [CompletionItem(incomplete, type="file")]
        return [CompletionItem(name) for name in found]


def _matching(begin: str, endings: tuple[str, ...]) -> list[str]:
    """Return the paths that begin so: folders with a slash, and files of these endings; hidden ones only if asked."""
    folder, name = os.path.split(begin)
    try:
        with os.scandir(folder or ".") as entries:
            named = [(entry.name, entry.is_dir()) for entry in entries][:MOST_ENTRIES]
    except OSError:
        return []
    return sorted(
        os.path.join(folder, entry) + ("/" if is_folder else "")
        for entry, is_folder in named
        if entry.startswith(name)
        and (name.startswith(".") or not entry.startswith("."))
        and (is_folder or entry.lower().endswith(endings))
    )


class Folder(click.ParamType):
    """A folder to write to, or one that drivesim wrote."""

    name = "folder"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """Return the path."""
        if not str(value):
            raise DrivesimError(f"{_shown(param)}: found no name, needed: a folder")
        return Path(value)

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem[Any]]:
        """Return what lets the shell complete folders."""
        return [CompletionItem(incomplete, type="dir")]


class Whole(click.ParamType):
    """A whole number between bounds."""

    name = "number"

    def __init__(self, least: int, most: int | None = None) -> None:
        self.least, self.most = least, most

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Return the number; fails in one line."""
        try:
            number = int(value)
            if number >= self.least and (self.most is None or number <= self.most):
                return number
        except ValueError:
            pass
        bounds = f"of at least {self.least}" if self.most is None else f"from {self.least} to {self.most}"
        raise DrivesimError(f"{_shown(param)}: found '{value}', needed: a whole number {bounds}")


class OneOf(click.Choice):
    """One of a few names; another one is told with those allowed and the nearest."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the name; fails in one line."""
        if value in self.choices:
            return str(value)
        names = [str(name) for name in self.choices]
        near = difflib.get_close_matches(str(value), names, 1)
        hint = f"; nearest is {near[0]}" if near else ""
        name = _shown(param) if isinstance(param, click.Option) else (param and param.human_readable_name)
        raise DrivesimError(f"{name}: found '{value}', allowed: {', '.join(names)}{hint}")


class Name(click.ParamType):
    """One of some names that are looked up only when a shell asks for them; whoever takes it checks it."""

    name = "name"

    def __init__(self, known: Callable[[], Iterable[str]]) -> None:
        self.known = known

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem[Any]]:
        """Return the names that begin so."""
        return [CompletionItem(name) for name in self.known() if name.startswith(incomplete)]


def _shown(param: click.Parameter | None) -> str:
    """Return what a parameter is called on the command line."""
    return max(param.opts, key=len) if param is not None else "value"


class Output(click.Option):
    """An option about what is printed and written; listed after the others."""


def output(default: str) -> Callable[[F], F]:
    """Add -o and --force; ``default`` says where it is written otherwise."""

    def added(function: F) -> F:
        force = click.option(
            "--force", is_flag=True, cls=Output, help="Replace the folder if drivesim wrote it before."
        )
        return output_only(default)(force(function))

    return added


def output_only(default: str, what: str = "Folder to write") -> Callable[[F], F]:
    """Add -o."""
    return click.option(
        "-o", "--output", type=Folder(), metavar="FOLDER", cls=Output, help=f"{what} [default: {default}]."
    )


no_pictures = click.option("--no-pictures", is_flag=True, cls=Output, help="Write no pictures.")
#: the names of plots.STYLES; told here too, because importing them takes longer than --help may
STYLES = ("light", "dark", "print")
style = click.option(
    "--style",
    type=OneOf(STYLES),
    default="light",
    show_default=True,
    cls=Output,
    help="Look of the pictures; print: black and grey, with heavier lines.",
)
as_json = click.option(
    "--json", "as_json", is_flag=True, cls=Output, help="Print the result as JSON, and nothing else."
)
quiet = click.option(
    "-q", "--quiet", is_flag=True, cls=Output, help="Print no tables and no progress, only what goes wrong."
)
jobs = click.option(
    "--jobs", type=Whole(1, 1024), metavar="NUMBER", help="Runs at once [default: one a core]; same result."
)


class Command(click.Command):
    """A command whose help groups its options and ends with examples, exit codes and where to read more."""

    def __init__(
        self, *words: Any, examples: Sequence[str] = (), fails: str = "", more: str = "",
        several: str = "give one at a time", **settings: Any,
    ) -> None:  # fmt: skip
        super().__init__(*words, **settings)
        self.examples, self.fails, self.more, self.several = tuple(examples), fails, more, several

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the command's own options, then those about output."""
        options = [param for param in self.get_params(ctx) if isinstance(param, click.Option)]
        for title, about_output in (("Options", False), ("Output", True)):
            group = [option for option in options if isinstance(option, Output) == about_output]
            rows = [row for row in (option.get_help_record(ctx) for option in group) if row is not None]
            if rows:
                with formatter.section(title):
                    formatter.write_dl(rows)

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write examples, exit codes and where to read more."""
        if self.examples:
            with formatter.section("Examples"):
                for line in self.examples:
                    formatter.write(f"{'':{formatter.current_indent}}{line}\n")
        rows = [
            ("0", "done"),
            ("1", self.fails),
            ("2", "a mistake in what was given"),
            ("130", "interrupted (Ctrl-C)"),
        ]
        with formatter.section("Exit codes"):
            formatter.write_dl([row for row in rows if row[1]])
        if self.more:
            with formatter.section("Read more"):
                formatter.write_text(self.more)
