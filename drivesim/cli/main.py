"""The command ``drivesim``; each command's module is imported only when it is asked for."""

from __future__ import annotations

import importlib
import io
import sys

import click

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
}


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

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.command(cls=Lazy, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="drivesim")
def cli() -> None:
    """Find out before the next board or tyre whether a small rover will move on real ground.

    \b
    drivesim run scenarios/rubble_speed_loop.yaml
    drivesim check my_rover.yaml
    drivesim compare scenarios/rubble_speed_loop.yaml scenarios/rubble_locked.yaml

    Exit codes: 0 done, 1 a bar given with --require was not met, 2 a mistake in what was given.
    """


def main(words: list[str] | None = None) -> None:
    """Run the command line; mistakes of the user end with one clear line each and exit code 2."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without our arrows still gets the verdict
    try:
        sys.exit(cli.main(words, prog_name="drivesim", standalone_mode=False) or 0)
    except DrivesimError as error:
        click.echo(str(error), err=True)
        sys.exit(2)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except (click.Abort, KeyboardInterrupt):
        click.echo("interrupted; nothing unfinished was left behind", err=True)
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(141)
    except OSError as error:
        click.echo(f"{error.filename or 'output'}: cannot be written or read ({error.strerror})", err=True)
        sys.exit(2)
