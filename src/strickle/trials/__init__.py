"""Stages run again with changed asks: searches and what-ifs. The door: result only."""

from strickle.trials.division import Casting, DivideAsk, Division, TriedCut
from strickle.trials.result import Trail, Tried

__all__ = ["Casting", "DivideAsk", "Division", "Trail", "Tried", "TriedCut"]
