"""Words of a wish looked at before any work is done for them."""

from __future__ import annotations

from strickle.base import BadInput
from strickle.pattern.answers import BORES, WAYS
from strickle.pattern.ask import PatternAsk
from strickle.pattern.core_made import MEDIA
from strickle.pattern.works import DATUMS

DRAFTS = ("added", "unfilled", "none")
FILLETS = ("added", "none")
JOINTS = ("best", "flat", "crooked")


def understood(ask: PatternAsk) -> None:
    """Raises BadInput for a word that the room does not know, and for a crooked joint of a mould that has none."""
    for name, word, known in (
        ("draft", ask.draft, DRAFTS),
        ("draft from", ask.draft_from, DATUMS),
        ("fillets", ask.fillets, FILLETS),
        ("joint", ask.joint, JOINTS),
        ("bores", ask.bores, BORES),
        ("core sand", ask.core_sand, MEDIA),
    ):
        if word not in known:
            raise BadInput(f"{name} {word!r} is not known", f"Give one of {', '.join(known)}")
    for word in (word.strip() for word in ask.undercuts.split(",")):
        if word not in WAYS:
            raise BadInput(f"the answer {word!r} to an undercut is not known", f"Give one of {', '.join(WAYS)}, for all or one for each place")
    if ask.open_face and (ask.bores == "core" or any(word.strip() in ("core", "loose") for word in ask.undercuts.split(","))):
        raise BadInput("an open-face mould takes no cores or loose pieces", "Leave out --undercuts and --bores, or take a two-part mould")
    if ask.open_face and ask.joint == "crooked":
        raise BadInput("an open-face mould has no joint to be crooked", "Leave out the joint, or take a two-part mould")
