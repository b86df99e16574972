"""The command ``drivesim``; each command's module is imported only when it is asked for."""

from __future__ import annotations

import difflib
import importlib
import io
import os
import platform
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import FrameType
from typing import Any

import click
from click.shell_completion import CompletionItem

from drivesim.cli.console import say
from drivesim.errors import DrivesimError

COMMANDS = {
    "new": "Write a commented scenario of your own rover to fill in, with a sheet of what to measure.",
    "run": "Run a scenario: will it move, and if not, which wheel, when, why?",
    "check": "Check a scenario's files, and print every value in SI.",
    "compare": "Drive several cases over the same grounds: which is better, by how much, how sure?",
    "tune": "Find the gains to flash, and prove them on grounds they were not tuned on.",
    "size": "Work out what a drive can do at all, what limits it, and which change pays.",
    "sweep": "Run hundreds of designs: maps, and what matters most.",
    "fit": "Find a rover's own numbers from bench logs.",
    "plot": "Draw the pictures of a finished run again.",
    "report": "Put results on one page: verdict, tables, traces, and the run played back.",
    "completion": "Print the script with which a shell completes commands, files and values.",
}
BROKEN_PIPE = 128 + 13  # as if the signal of a closed pipe had ended the process


class Ended(KeyboardInterrupt):
    """Another signal than Ctrl-C's asked the process to end."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number


class Lazy(click.Group):
    """A group whose commands are imported at first use, so that --help is quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of all commands."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one command."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"drivesim.cli.{cmd_name}")
        command: click.Command = module.command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Return the command to be run; an unknown one is told with the nearest name."""
        if args[0] not in COMMANDS and not args[0].startswith("-") and not ctx.resilient_parsing:
            raise DrivesimError(f"no such command '{args[0]}'; {_nearest(args[0], COMMANDS)}")
        return super().resolve_command(ctx, args)

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Read the words; without any, show the help."""
        if not args and not ctx.resilient_parsing:
            click.echo(ctx.get_help(), err=True)
            ctx.exit(2)
        return super().parse_args(ctx, args)

    def make_context(self, *words: Any, **settings: Any) -> click.Context:
        """Read the words, and print help or version if they ask for it."""
        with _pipes():
            return super().make_context(*words, **settings)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; broken off, say in one line what is left."""
        try:
            with _pipes():
                return super().invoke(ctx)
        except KeyboardInterrupt as stop:
            left = getattr(stop, "__notes__", ["nothing unfinished was left behind"])[0]
            say(f"interrupted; {left}", err=True)
            raise click.exceptions.Exit(128 + getattr(stop, "number", signal.SIGINT)) from None

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem[Any]]:
        """Return the commands that begin so, without importing them."""
        found = [
            CompletionItem(name, help=text) for name, text in COMMANDS.items() if name.startswith(incomplete)
        ]
        return found + click.Command.shell_complete(self, ctx, incomplete)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write what holds for all commands."""
        with formatter.section("Examples"):
            for line in EXAMPLES:
                formatter.write(f"{'':{formatter.current_indent}}{line}\n")
        with formatter.section("Exit codes"):
            formatter.write_dl(list(CODES.items()))
        with formatter.section("Environment"):
            formatter.write_dl(list(ENVIRONMENT.items()))


EXAMPLES = (
    "drivesim run scenarios/slab_edge.yaml",
    "drivesim check scenarios/rubble_locked.yaml",
    "drivesim run --help",
)
CODES = {
    "0": "done",
    "1": "a bar given with --require was not met, or no gains keep what is required",
    "2": "a mistake in what was given, told in one line: file, line, field, what is allowed",
    "130": "Ctrl-C (143: asked to end); finished work is kept where the command says so",
}
ENVIRONMENT = {
    "NO_COLOR": "set to anything: no colours, on a terminal too",
    "FORCE_COLOR": "set to anything: colours in a pipe too",
    "COLUMNS": "width of tables and of this help",
}


def _version(ctx: click.Context, _: click.Parameter, asked: bool) -> None:
    if not asked or ctx.resilient_parsing:
        return
    from importlib.metadata import version

    parts = ", ".join(f"{name} {version(name)}" for name in ("numba", "numpy", "scipy"))
    click.echo(f"drivesim {version('drivesim')}\nPython {platform.python_version()}, {parts}")
    ctx.exit()


@click.command(cls=Lazy, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.option(
    "--version", is_flag=True, is_eager=True, expose_value=False, callback=_version,
    help="Show the versions of drivesim and of what it computes with.",
)  # fmt: skip
def cli() -> None:
    """Find out before the next board or tyre whether a small rover will move on real ground.

    Each command tells more with --help.
    """


def main(words: list[str] | None = None) -> None:
    """Run the command line; mistakes of the user end with one clear line each and exit code 2."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without our arrows still gets the verdict
    sys.exit(_code(words))


def _code(words: list[str] | None) -> int:
    """Run the command line, tell what went wrong, and return the exit code."""
    try:
        with _signals():
            code = cli.main(words, prog_name="drivesim", standalone_mode=False) or 0
            sys.stdout.flush()
            return int(code)
    except DrivesimError as error:
        for line in str(error).splitlines():
            say(line, err=True)
    except click.ClickException as error:
        for line in _mistake(error):
            say(line, err=True)
    except (click.Abort, KeyboardInterrupt):
        say("interrupted; nothing unfinished was left behind", err=True)
        return 130
    except BrokenPipeError:
        return _pipe_closed()
    except OSError as error:
        say(f"{error.filename or 'output'}: cannot be written or read ({error.strerror or error})", err=True)
    return 2


def _pipe_closed() -> int:
    """Let what is still to be printed go nowhere: nobody reads it."""
    with suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.__stdout__.fileno())  # type: ignore[union-attr]
    return BROKEN_PIPE


@contextmanager
def _pipes() -> Iterator[None]:
    """End as the system does where nobody reads any more; click and rich give 1 then, which means another thing."""
    try:
        yield
    except BrokenPipeError:
        raise click.exceptions.Exit(_pipe_closed()) from None
    except SystemExit as stop:
        if isinstance(stop.__context__, BrokenPipeError):
            raise click.exceptions.Exit(_pipe_closed()) from None
        raise


@contextmanager
def _signals() -> Iterator[None]:
    """Let a request to end, and a terminal that is closed, end the work as Ctrl-C does."""

    def stop(number: int, _: FrameType | None) -> None:
        raise Ended(number)

    before = {}
    if threading.current_thread() is threading.main_thread():
        for name in ("SIGTERM", "SIGHUP"):
            number = getattr(signal, name, None)
            if number is not None and signal.getsignal(number) == signal.SIG_DFL:
                before[number] = signal.signal(number, stop)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _nearest(name: str, allowed: Any) -> str:
    near = difflib.get_close_matches(name, list(allowed), 1, cutoff=0.6)
    return f"nearest is {near[0]}" if near else f"allowed are {', '.join(allowed)}"


def _mistake(error: click.ClickException) -> list[str]:
    """Return one line about a mistake on the command line, and the usage where that helps."""
    ctx = getattr(error, "ctx", None)
    where = f"{ctx.command_path}: " if ctx is not None else ""
    usage = [" ".join(ctx.get_usage().split())] if ctx is not None else []
    if isinstance(error, click.NoSuchOption) and ctx is not None:
        names = [
            name for param in ctx.command.get_params(ctx) for name in param.opts if name.startswith("--")
        ]
        return [f"{where}no such option {error.option_name}; {_nearest(error.option_name, names)}"]
    if isinstance(error, click.MissingParameter) and error.param is not None and ctx is not None:
        return [f"{where}{error.param.human_readable_name.rstrip('.')} is missing", *usage]
    text = error.format_message().rstrip(".")
    if isinstance(error, click.BadParameter) and error.param is not None:
        option = isinstance(error.param, click.Option)
        name = max(error.param.opts, key=len) if option else error.param.human_readable_name
        return [f"{where}{name}: {error.message.rstrip('.')}"]
    if text.startswith("Got unexpected extra argument") and ctx is not None:
        extra = text.partition("(")[2].rstrip(")")
        one = ctx.command.params[0].human_readable_name if ctx.command.params else "nothing"
        several = getattr(ctx.command, "several", "give one at a time")
        return [f"{where}takes one {one}, found more: {extra}; {several}"]
    return [f"{where}{text[:1].lower()}{text[1:]}"]
