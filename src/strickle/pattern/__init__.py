"""Draw direction, parting, contraction, printed halves. The door: ask and result only."""

from strickle.pattern.ask import Mark, PatternAsk
from strickle.pattern.core import Core, Loose
from strickle.pattern.result import DrilledHole, Pattern, Sheet, StockedFace

__all__ = ["Core", "DrilledHole", "Loose", "Mark", "Pattern", "PatternAsk", "Sheet", "StockedFace"]
