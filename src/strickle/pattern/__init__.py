"""Draw direction, parting, contraction, printed halves. The door: ask and result only."""

from strickle.pattern.ask import Mark, PatternAsk
from strickle.pattern.result import DrilledHole, Pattern, Sheet, StockedFace

__all__ = ["DrilledHole", "Mark", "Pattern", "PatternAsk", "Sheet", "StockedFace"]
