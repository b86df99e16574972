"""The reference of all commands, made from the commands themselves."""

from __future__ import annotations

import importlib
import re
from collections.abc import Mapping
from inspect import cleandoc
from textwrap import dedent

import click
from reference_words import cell, plain

from drivesim.cli import options as options_of_cli
from drivesim.cli.main import CODES, COMMANDS, ENVIRONMENT, cli


def command_page() -> str:
    """Return the page of all commands, as their own --help tells them."""
    rows = "\n".join(
        f"| [`drivesim {name}`](#command-{name}) | {plain(words)} |" for name, words in COMMANDS.items()
    )
    head = (
        f"# Commands\n\n{plain(cli.help or '')} This page is made from the commands themselves, and tells the same.\n\n"
        f"| command | what it does |\n| --- | --- |\n{rows}\n\n"
        f"## `drivesim`\n\n**Options**\n\n{options(cli)}\n**Exit codes**\n\n{listed('code', CODES)}\n"
        f"**Environment**\n\n{listed('variable', ENVIRONMENT)}\n"
    )
    return head + "\n".join(command_section(name, command_of(name)) for name in COMMANDS)


def command_of(name: str) -> click.Command:
    """Return the command ``name``."""
    command: click.Command = importlib.import_module(f"drivesim.cli.{name}").command
    return command


def command_section(name: str, command: click.Command) -> str:
    """Return name, synopsis, description, options, exit codes and examples of one command."""
    usage = " ".join(command.collect_usage_pieces(click.Context(command)))
    paragraphs = re.split(r"\n\s*\n", cleandoc(command.help or ""))
    shown_as_is = [one for one in paragraphs if one.startswith("\b")]  # examples within the description
    examples = [*getattr(command, "examples", ()), *(dedent(one.lstrip("\b\n")) for one in shown_as_is)]
    description = "\n\n".join(plain(one) for one in paragraphs if one not in shown_as_is)
    fails, more = (getattr(command, about, "") for about in ("fails", "more"))
    codes = {"0": "done", "1": fails, "2": "a mistake in what was given", "130": "Ctrl-C"}
    parts = {
        "Synopsis": f"```text\ndrivesim {name} {usage}\n```",
        "Description": description,
        "Options": options(command),
        "Exit codes": listed("code", {code: words for code, words in codes.items() if words}),
        "Examples": "```sh\n" + "\n".join(examples) + "\n```",
        "Read more": plain(more).replace("docs/", ""),
    }
    text = "\n\n".join(f"**{title}**\n\n{body}" for title, body in parts.items() if body)
    return f"(command-{name})=\n## `drivesim {name}`\n\n{plain(COMMANDS[name])}\n\n{text}\n"


def listed(head: str, rows: Mapping[str, str]) -> str:
    """Return a table of names and words."""
    lines = "".join(f"| `{name}` | {plain(words)} |\n" for name, words in rows.items())
    return f"| {head} | means |\n| --- | --- |\n{lines}"


def options(command: click.Command) -> str:
    """Return the table of a command's options, those about output last as in its help."""
    context = click.Context(command, help_option_names=["-h", "--help"])
    found = sorted(command.get_params(context), key=lambda one: isinstance(one, options_of_cli.Output))
    records = [one.get_help_record(context) for one in found if isinstance(one, click.Option)]
    rows = [f"| `{cell(record[0])}` | {cell(plain(record[1]))} |\n" for record in records if record]
    return "| option | meaning |\n| --- | --- |\n" + "".join(rows)
