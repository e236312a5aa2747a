"""Draw direction, parting, contraction, printed halves. The door: ask and result only."""

from strickle.pattern.ask import PatternAsk
from strickle.pattern.core import Core, Loose
from strickle.pattern.result import Pattern, Sheet

__all__ = ["Core", "Loose", "Pattern", "PatternAsk", "Sheet"]
