"""Flask, sand margins, how the sand stands the draw. The door: ask and result only."""

from strickle.mould.ask import MouldAsk
from strickle.mould.result import FlaskChosen, Mould, Printing, SandBody, SandChances

__all__ = ["FlaskChosen", "Mould", "MouldAsk", "Printing", "SandBody", "SandChances"]
