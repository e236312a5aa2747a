"""Draw direction, parting, contraction, printed halves. The door: ask and result only."""

from strickle.pattern.ask import PatternAsk
from strickle.pattern.result import Pattern, Sheet
from strickle.pattern.seam import Apart, Cut, Plate, Seam, SeamAsk

__all__ = ["Apart", "Cut", "Pattern", "PatternAsk", "Plate", "Seam", "SeamAsk", "Sheet"]
