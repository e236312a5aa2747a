"""Does it fill: hydraulics with losses. The door: ask and result only."""

from strickle.pour.ask import PourAsk
from strickle.pour.result import Handed, Pour

__all__ = ["Handed", "Pour", "PourAsk"]
