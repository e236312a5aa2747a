"""Draw direction, parting, contraction, printed halves. The door: ask and result only."""

from strickle.pattern.ask import Mark, PatternAsk
from strickle.pattern.core import Core, Loose
from strickle.pattern.result import DrilledHole, Lift, Pattern, Sheet, StockedFace
from strickle.pattern.splice import Apart, Cut, Plate, Splice, SpliceAsk

__all__ = [
    "Apart", "Core", "Cut", "DrilledHole", "Lift", "Loose", "Mark", "Pattern", "PatternAsk", "Plate", "Sheet", "Splice", "SpliceAsk",
    "StockedFace",
]  # fmt: skip
