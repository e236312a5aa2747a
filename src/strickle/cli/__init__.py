"""The terminal. Thin over the job; at import it needs click and nothing else, so that help answers at once."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

import click

from strickle.cli.commands import group

__all__ = ["group", "main"]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command. Returns the exit code: 0 planned, 3 a STOP stands, 2 bad input, 130 stopped, 1 our failure."""
    try:
        code = group.main(args=None if arguments is None else list(arguments), prog_name="strickle", standalone_mode=False)
        sys.stdout.flush()
        return code if isinstance(code, int) else 0
    except click.exceptions.Exit as done:
        return done.exit_code
    except click.exceptions.NoArgsIsHelpError as done:
        click.echo(done.format_message())
        return 2
    except click.ClickException as trouble:
        return _say(" ".join(trouble.format_message().split()), 2)
    except (click.Abort, KeyboardInterrupt):
        return _say("stopped", 130)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as trouble:
        if os.environ.get("STRICKLE_DEBUG"):
            raise
        from strickle.base import Trouble

        if isinstance(trouble, Trouble):
            return _say(" ".join(str(trouble).split()), trouble.exit_code)
        what = " ".join(f"{type(trouble).__name__}: {trouble}".split())
        return _say(f"a mistake in strickle itself ({what}). Set STRICKLE_DEBUG=1 to see where, and please report it.", 1)


def _say(line: str, code: int) -> int:
    click.echo(f"strickle: {line}", err=True)
    return code
