"""Does it fill: hydraulics with losses. The door: ask and result only."""

from strickle.pour.ask import PourAsk
from strickle.pour.result import Handed, Pour
from strickle.pour.window import PourTried, PourWindow

__all__ = ["Handed", "Pour", "PourAsk", "PourTried", "PourWindow"]
