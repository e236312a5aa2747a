"""The terminal. Thin over the job; at import it needs click and nothing else, so that help answers at once."""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Sequence

import click

from strickle.cli.commands import group

__all__ = ["group", "main"]


_LONGEST = 2000  # letters of a line that says what is wrong


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command. Returns the exit code: 0 planned, 3 a STOP stands, 2 bad input, 130 stopped, 1 our failure."""
    for stream in (sys.stdout, sys.stderr):  # a name or a sign that the terminal cannot write is written out, and never stops a plan
        if isinstance(stream, io.TextIOWrapper) and stream.errors in ("strict", "surrogateescape"):
            stream.reconfigure(errors="backslashreplace")
    try:
        code = group.main(args=None if arguments is None else list(arguments), prog_name="strickle", standalone_mode=False)
        if sys.stdout is not None:
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
    except MemoryError:
        return _say("there is not enough memory for this. Close other programs, give a coarser --cell, or a mesh with fewer triangles.", 1)
    except Exception as trouble:
        if os.environ.get("STRICKLE_DEBUG"):
            raise
        from strickle.base import Trouble

        if isinstance(trouble, Trouble):
            return _say(" ".join(trouble.told(_units(arguments)).split()), trouble.exit_code)
        if isinstance(trouble, OSError) and trouble.errno is not None:
            return _say(f"the system refuses: {trouble.strerror or trouble}{f' ({trouble.filename})' if trouble.filename else ''}.", 2)
        what = " ".join(f"{type(trouble).__name__}: {trouble}".split())
        return _say(f"a mistake in strickle itself ({what}). Set STRICKLE_DEBUG=1 to see where, and please report it.", 1)


def _units(arguments: Sequence[str] | None) -> str:
    """Units of a line that says what is wrong: as asked on the command line, else the kit's."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    for word, following in zip(words, [*words[1:], ""], strict=True):
        asked = following if word == "--units" else word.removeprefix("--units=")
        if asked in ("us", "metric"):
            return asked
    from strickle.cli.rules import kit_units

    return kit_units()


def _say(line: str, code: int) -> int:
    from strickle.job.files import escaped

    line = escaped(" ".join(line.split()))
    click.echo(f"strickle: {line if len(line) <= _LONGEST else f'{line[: _LONGEST // 2]} ... {line[-_LONGEST // 2 :]}'}", err=True)
    return code
