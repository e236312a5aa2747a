"""Flask, sand margins, how the sand stands the draw. The door: ask, result, and the chances of several moulds of one sand."""

from strickle.mould.ask import MouldAsk
from strickle.mould.result import FlaskChosen, Leaning, Mould, Printing, SandBody, SandChances, SandLedge, SandWay
from strickle.mould.several import together

__all__ = ["FlaskChosen", "Leaning", "Mould", "MouldAsk", "Printing", "SandBody", "SandChances", "SandLedge", "SandWay", "together"]
