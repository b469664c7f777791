"""The command group: commands are imported when they are called, errors become exit codes."""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Sequence
from typing import Any

import click

from tolsim import __version__
from tolsim.errors import ExitCode, SpecError, TolsimError

__all__ = ["cli", "run"]

#: Command -> module of `tolsim.cli` that holds it as ``command``, and its line in the help.
COMMANDS: dict[str, tuple[str, str]] = {
    "predict": ("predict", "Share of loose, overly tight and misaligned units of a study."),
    "check": ("check", "Every fault of studies and parts, with file, line and key."),
    "parts": ("parts", "Parts that a study may name."),
    "new": ("new", "Write a commented study that runs as it stands."),
    "schema": ("schema", "JSON Schema of studies and parts."),
    "design": ("design", "The cheapest bands and parts that meet the targets, verified."),
    "rank": ("rank", "Which input is to blame, in moves that can be made."),
    "window": ("window", "Where the joint holds, and what that demands of a supplier."),
    "compare": ("compare", "Alternatives on the same draws: which is good enough, and pays."),
    "capability": ("capability", "What the parts of one or several makers can and cannot say."),
    "inspect": ("inspect", "How a file of readings is understood, and which rows are left out."),
    "limits": ("limits", "Limits of a size class, a fit or a bearing, at the prompt."),
    "completion": ("completion", "Completion script for bash, zsh or fish."),
}


class _Lazy(click.Group):
    """A group whose commands cost nothing until they are called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"tolsim.cli.{COMMANDS[cmd_name][0]}")
        command: click.Command = module.command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            from tolsim.errors import closest

            near = closest(args[0], COMMANDS)
            ctx.fail(
                f"no such command: {args[0]}. "
                + (f"Did you mean {near}? " if near else "")
                + f"Commands: {', '.join(COMMANDS)}."
            )
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])


@click.group(
    cls=_Lazy,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog=(
        "Exit codes: 0 met, 1 not met, 2 usage, 3 specification or data invalid, 4 undecided, "
        "70 internal error, 130 interrupted."
    ),
)
@click.version_option(__version__, prog_name="tolsim")
def cli() -> None:
    """Sizes, fits and tolerance bands of bearing seats, from what the shops really make."""


def run(arguments: Sequence[str]) -> int:
    """Run the command line; every error becomes a message on standard error and an exit code."""
    try:
        result: Any = cli.main(args=list(arguments), prog_name="tolsim", standalone_mode=False)
        sys.stdout.flush()
        return int(result) if isinstance(result, int) else int(ExitCode.MET)
    except click.exceptions.Exit as e:
        return int(e.exit_code)
    except click.ClickException as e:
        e.show(file=sys.stderr)
        return int(ExitCode.USAGE)
    except (KeyboardInterrupt, click.Abort):
        click.echo(f"{_fresh_line()}stopped; nothing was written", err=True)
        return int(ExitCode.INTERRUPTED)
    except SpecError as e:
        _tell_problems(e)
        return int(ExitCode.INVALID)
    except TolsimError as e:
        click.echo(f"{_fresh_line()}tolsim: {e}", err=True)
        return int(e.exit_code)
    except BrokenPipeError:
        # the reader has gone; silence the flush at exit as well
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as e:  # the last line of defence: never a traceback for a user
        if os.environ.get("TOLSIM_DEBUG"):
            raise
        click.echo(
            f"tolsim: internal error ({type(e).__name__}: {e}). This is a fault of tolsim, not "
            "of your files; TOLSIM_DEBUG=1 shows where.",
            err=True,
        )
        return int(ExitCode.INTERNAL)


def _fresh_line() -> str:
    """Clears what progress may have left on a terminal's line."""
    return "\r\x1b[K" if sys.stderr.isatty() else ""


def _tell_problems(e: SpecError, most: int = 50) -> None:
    from tolsim.report.numbers import clean

    for problem in e.problems[:most]:
        click.echo(clean(problem.text()), err=True)
    files = list(dict.fromkeys(p.file for p in e.problems))
    n = len(e.problems)
    rest = f" ({n - most} more not shown)" if n > most else ""
    where = clean(", ".join(files) if len(files) < 4 else f"{len(files)} files")
    click.echo(f"{n} problem{'s' if n != 1 else ''} in {where}{rest}; nothing was run.", err=True)
