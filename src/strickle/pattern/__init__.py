"""Draw direction, parting, contraction, printed halves. The door: ask, result, and how any room's pieces are printed on the bed."""

from strickle.pattern.ask import PatternAsk
from strickle.pattern.bed import laid, lying, on_the_bed
from strickle.pattern.bed_split import MOST, STRIP, in_parts, keyed
from strickle.pattern.result import Pattern, Sheet

__all__ = ["MOST", "STRIP", "Pattern", "PatternAsk", "Sheet", "in_parts", "keyed", "laid", "lying", "on_the_bed"]
