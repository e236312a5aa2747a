"""Flask, sand margins, how the sand stands the draw. The door: ask and result only."""

from strickle.mould.ask import MouldAsk
from strickle.mould.result import FlaskChosen, Leaning, Mould, Printing, SandBody, SandChances, SandLedge, SandWay

__all__ = ["FlaskChosen", "Leaning", "Mould", "MouldAsk", "Printing", "SandBody", "SandChances", "SandLedge", "SandWay"]
