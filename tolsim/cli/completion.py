"""``tolsim completion``."""

from __future__ import annotations

import click
from click.shell_completion import get_completion_class

__all__ = ["command"]


@click.command()
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def command(shell: str) -> int:
    """Print the completion script of SHELL; source it from the shell's start-up file."""
    from tolsim.cli.main import cli

    found = get_completion_class(shell)
    assert found is not None
    script = found(cli, {}, "tolsim", "_TOLSIM_COMPLETE")
    click.echo(script.source_template % script.source_vars())
    return 0
