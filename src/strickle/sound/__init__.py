"""Does it freeze soundly. The door: ask and result only."""

from strickle.sound.ask import SoundAsk
from strickle.sound.result import Back, Late, NeckJudged, Sound, Weak

__all__ = ["Back", "Late", "NeckJudged", "Sound", "SoundAsk", "Weak"]
