"""``drivesim completion``: lets a shell complete commands, options, files and values."""

from __future__ import annotations

import click

from drivesim.cli.options import Command, OneOf

SHELLS = ("bash", "zsh", "fish")


@click.command(
    "completion",
    cls=Command,
    examples=(
        'eval "$(drivesim completion bash)"    # this line in ~/.bashrc',
        'eval "$(drivesim completion zsh)"     # in ~/.zshrc, after compinit',
        "drivesim completion fish | source    # in ~/.config/fish/config.fish",
    ),
)
@click.argument("shell", type=OneOf(SHELLS))
@click.pass_context
def command(ctx: click.Context, shell: str) -> None:
    """Print the script with which SHELL completes drivesim: commands, options, scenario files, run folders, values.

    The script asks drivesim itself each time, so that it stays right when drivesim is updated.
    """
    from click.shell_completion import get_completion_class

    kind = get_completion_class(shell)
    assert kind is not None
    source = kind(ctx.find_root().command, {}, "drivesim", "_DRIVESIM_COMPLETE").source()
    click.echo(source.rstrip("\n"))
