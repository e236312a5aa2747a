"""Draw direction, parting, contraction, printed halves. The door: ask, result, and how any room's pieces are printed on the bed."""

from strickle.pattern.ask import Mark, PatternAsk
from strickle.pattern.bed import is_whole, laid, lying, on_the_bed
from strickle.pattern.bed_split import MOST, STRIP, in_parts, keyed
from strickle.pattern.core import Core, Loose
from strickle.pattern.result import DrilledHole, Lift, Pattern, Sheet, StockedFace, aimed
from strickle.pattern.splice import Apart, Cut, Plate, Splice, SpliceAsk

__all__ = [
    "MOST", "STRIP", "Apart", "Core", "Cut", "DrilledHole", "Lift", "Loose", "Mark", "Pattern", "PatternAsk", "Plate", "Sheet", "Splice",
    "SpliceAsk", "StockedFace", "aimed", "in_parts", "is_whole", "keyed", "laid", "lying", "on_the_bed",
]  # fmt: skip
