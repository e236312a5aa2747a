"""The mesh as read: units, health, walls, hot spots. The door: ask and result only."""

from strickle.part.ask import PartAsk
from strickle.part.result import Hole, HotSpot, Part

__all__ = ["Hole", "HotSpot", "Part", "PartAsk"]
