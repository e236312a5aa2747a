"""Progress on stderr, questions on a terminal, and the stop key."""

from __future__ import annotations

import signal
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from types import FrameType

import click

from strickle.base import Watch, quiet


class StopKey:
    """Ctrl-C once: stop at the next safe place. Twice: at once."""

    def __init__(self) -> None:
        self.pressed = False

    def __call__(self, number: int, frame: FrameType | None) -> None:
        """The signal handler."""
        if self.pressed:
            raise KeyboardInterrupt
        self.pressed = True
        click.echo("stopping at the next safe place; press again to stop at once", err=True)


@contextmanager
def stop_key() -> Iterator[Callable[[], bool]]:
    """Within it, Ctrl-C and a polite kill only set a flag; gives the question whether it is set."""
    key = StopKey()
    old = {number: signal.signal(number, key) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield lambda: key.pressed
    finally:
        for number, handler in old.items():
            signal.signal(number, handler)


@contextmanager
def progress(silent: bool) -> Iterator[Watch]:
    """A watch that shows progress on stderr: a bar on a terminal, plain lines elsewhere."""
    if silent or sys.stderr is None:
        yield quiet
    elif sys.stderr.isatty():
        from rich.console import Console
        from rich.markup import escape
        from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

        columns = (BarColumn(bar_width=24), TextColumn("{task.percentage:3.0f} %"), TimeElapsedColumn(), TextColumn("{task.description}"))
        with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
            task = bar.add_task("begins", total=1.0)
            yield lambda share, says: bar.update(task, completed=share, description=escape(says))
    else:
        yield _lines()


def _lines() -> Watch:
    """Plain lines: one when the stage changes and one every five seconds, never more than one a second."""
    last = ""
    then = 0.0

    def watch(share: float, says: str) -> None:
        nonlocal last, then
        stage = says.partition(":")[0]
        now = time.monotonic()
        if now - then > (1.0 if stage != last else 5.0):
            last, then = stage, now
            click.echo(f"{100 * share:3.0f} %  {says}", err=True)

    return watch


def may_ask() -> bool:
    """Whether a question may be put: only when stdin is a terminal."""
    return sys.stdin is not None and sys.stdin.isatty()


def choose(says: str, choices: Sequence[str]) -> int:
    """Put a question with numbered answers on stderr. Returns the number chosen, from 0."""
    click.echo(says, err=True)
    for number, choice in enumerate(choices, 1):
        click.echo(f"  {number}  {choice}", err=True)
    answer: int = click.prompt("Which", type=click.IntRange(1, len(choices)), err=True)
    return answer - 1
