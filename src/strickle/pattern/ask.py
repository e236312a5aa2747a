"""What the pattern room needs to be told."""

from __future__ import annotations

from dataclasses import dataclass

from strickle.base import Array, Record, si, word


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mark(Record):
    """A face of the part that is marked: the flat, or the round wall, on which the point lies."""

    name: str = word("name, as the person gave it")
    at: Array = si("m", "a point on the face, part coordinates", shape="(3,)")
    kind: str = word("machined: gets stock | good: must come out well | no-draft: stays upright")
    amount: float | None = si("m", "stock on a machined face; None = by the size of the part", default=None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PatternAsk(Record):
    """Wishes on the draw; ``open_face`` follows from the kind of mould."""

    up: Array | None = si("1", "direction of the part that shall point up in the mould", shape="(3,)", default=None)
    tried: bool = word("`up` was found by trying and not asked for", default=False)
    parting: float | None = si("m", "height of the parting along the draw, part coordinates; None = best", default=None)
    open_face: bool = word("the whole part lies under the parting and its back is poured open", default=False)
    joint: str = word(
        "how the mould parts: best (flat unless a crooked joint saves more than a follow board is worth), flat or crooked", default="best"
    )
    undercuts: str = word(
        "answer to places that two halves cannot release: best, core, loose (a loose piece) or fill (machined later); one word for all,"
        " or one for each, largest first, with commas",
        default="best",
    )
    bores: str = word("holes through the part along the draw, from 10 mm wide and deeper than 1.5 times that: sand or core", default="sand")
    core_sand: str = word("what cores are made of: silicate, resin or oil-baked", default="silicate")
    draft: str = word(
        "whether walls along the draw are given draft: added, unfilled (a degree more, for layer lines that are not filled and sanded) or none",
        default="added",
    )
    draft_outside: float | None = si("1", "draft of outside walls, as an angle; None = 2 degrees", default=None)
    draft_pockets: float | None = si("1", "draft of walls of pockets, as an angle; None = 3 degrees", default=None)
    draft_from: str = word(
        "where a drafted wall keeps its size: far (its end far from the joint) or middle (half the height of its half: little metal is added,"
        " and the far end grows thinner)",
        default="far",
    )
    fillets: str = word("whether sharp inner corners that draw are rounded in the pattern: added or none", default="none")
    stock: float | None = si("m", "stock to machine off the poured back of an open-face casting; None = by the size of the part", default=None)
    marks: tuple[Mark, ...] = word(
        "marked faces, as name: x, y, z, machined | good | no-draft, stock, in part coordinates, several parted by semicolons; None = none",
        default=(),
    )
    holes: str = word("round holes that a drill makes: drilled (filled in the pattern) or cast (left as drawn)", default="drilled")
