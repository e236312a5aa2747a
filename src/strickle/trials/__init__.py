"""Stages run again with changed asks: searches and what-ifs. The door: result only."""

from strickle.trials.result import Trail, Tried

__all__ = ["Trail", "Tried"]
