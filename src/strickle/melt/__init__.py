"""Charge, pot, heat, fuel, temperatures. The door: ask and result only."""

from strickle.melt.ask import MeltAsk
from strickle.melt.result import Melt

__all__ = ["Melt", "MeltAsk"]
