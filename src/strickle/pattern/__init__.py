"""Draw direction, parting, contraction, printed halves. The door: ask and result only."""

from strickle.pattern.ask import PatternAsk
from strickle.pattern.result import Pattern
from strickle.pattern.splice import Apart, Cut, Plate, Splice, SpliceAsk

__all__ = ["Apart", "Cut", "Pattern", "PatternAsk", "Plate", "Splice", "SpliceAsk"]
