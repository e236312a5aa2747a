"""Draw direction, parting, contraction, printed halves. The door: ask and result only."""

from strickle.pattern.ask import PatternAsk
from strickle.pattern.result import Lift, Pattern, Sheet

__all__ = ["Lift", "Pattern", "PatternAsk", "Sheet"]
