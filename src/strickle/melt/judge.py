"""What the melt finds: pot, weight, metal, fuel, place, temperatures."""

from __future__ import annotations

from collections.abc import Iterator

from strickle.base import Finding, Margin, Value, figures, tell
from strickle.melt import rules
from strickle.melt.choose import PotChosen, PourChosen
from strickle.melt.result import Melt
from strickle.metal import Metal
from strickle.mould import Mould
from strickle.part import Part
from strickle.stores import Furnace, Kit, Stores


def findings_of(
    melt: Melt, most: float, chosen: PotChosen, pour: PourChosen, furnace: Furnace, part: Part, mould: Mould, metal: Metal, stores: Stores
) -> tuple[Finding, ...]:
    """Every finding of the melt. ``most`` [kg] is the charge at the highest published loss."""
    kit = stores.kit
    cold = tuple(_cold(melt, metal, kit))
    return (
        *_place(furnace, mould, kit),
        *_pot(melt, chosen, kit, stores.constants["pot.usable_share"]),
        *_weight(melt, chosen, kit),
        *_metal(melt, most, kit),
        *_fuel(melt, kit),
        *(cold or _window(pour, part, metal)),
        *_heat(melt, metal),
        *_thermometer(melt, metal, kit),
    )


def _place(furnace: Furnace, mould: Mould, kit: Kit) -> Iterator[Finding]:
    if kit.place != "indoors":
        return
    oily = mould.sand.startswith("oil")
    if furnace.kind == "gas" or oily:
        what = [f"{furnace.name} burns fuel"] if furnace.kind == "gas" else []
        what += [f"the mould is {mould.sand_name}, which smokes when metal meets it"] if oily else []
        yield Finding(
            code="melt.place",
            weight="STOP",
            says="This melt and pour is planned indoors",
            because=" and ".join(what) + ": carbon monoxide and smoke gather under a roof with walls, and a fan does not make that safe",
            do="Melt and pour outdoors or under an open-sided roof, with the gas cylinder outside and away from the furnace",
            source="safety rule of this program; see also the gas supplier's instructions",
        )
    elif not kit.ventilated:
        yield Finding(
            code="melt.place",
            weight="STOP",
            says="This electric melt is planned indoors without confirmed extraction",
            because="fumes from metal, coatings and sand need mechanical extraction to outside, and a carbon monoxide alarm tells when it fails",
            do="Confirm extraction to outside, the alarm and surroundings that do not burn in the kit, or work outdoors",
            source="safety rule of this program",
        )


def _pot(melt: Melt, chosen: PotChosen, kit: Kit, share: Value) -> Iterator[Finding]:
    if chosen.serves:
        return
    largest = chosen.pot.volume if chosen.pot in kit.crucibles else max((p.volume for p in kit.crucibles), default=0.0)
    name = f"{chosen.pot.name} holds" if chosen.pot in kit.crucibles else "the largest pot in the kit holds"
    yield Finding(
        code="melt.pot_too_small",
        weight="STOP",
        says=f"{tell(melt.charge_mass, 'kg')} of metal need a pot of {tell(melt.pot_needed_volume, 'm3')} to the brim; {name} {tell(largest, 'm3')}",
        because=f"a pot is filled to {tell(share.value, '1', '%')} at most: {tell(melt.poured_mass, 'kg')} go into the mould, "
        f"{tell(melt.heel_mass, 'kg')} stay behind, the rest is lost as dross",
        do="Get a pot that holds this much by its inside size, never by its label, or make part and rigging lighter",
        margin=Margin(value=largest / melt.pot_needed_volume, unit="1", of="pot volume over the volume needed"),
        source=f"usable share {figures(share.low)} to {figures(share.high)}: from memory, unverified",
    )


def _weight(melt: Melt, chosen: PotChosen, kit: Kit) -> Iterator[Finding]:
    if melt.gross_mass <= kit.lift_limit:
        return
    pot = "a pot of that size" if not chosen.serves else chosen.pot.name
    yield Finding(
        code="melt.too_heavy",
        weight="STOP",
        says=f"Pot, metal and tongs weigh {tell(melt.gross_mass, 'kg')}; the limit in the kit is {tell(kit.lift_limit, 'kg')}",
        because=f"{pot} weighs {tell(chosen.pot.mass, 'kg')}, the metal {tell(melt.charge_mass, 'kg')} and the tongs {tell(kit.tongs_mass, 'kg')}",
        do="Pour with a second trained person and a two-handed shank and set the limit for that, or cast something lighter",
        margin=Margin(value=kit.lift_limit / melt.gross_mass, unit="1", of="lifting limit over what is lifted"),
        source="the person's own limit in the kit",
    )


def _metal(melt: Melt, most: float, kit: Kit) -> Iterator[Finding]:
    if kit.metal_mass >= most:
        return
    short = kit.metal_mass < melt.charge_mass
    yield Finding(
        code="melt.metal_short",
        weight="STOP" if short else "MIND",
        says=f"The charge is {tell(melt.charge_mass, 'kg')} and {tell(kit.metal_mass, 'kg')} are on hand",
        because=f"{tell(melt.poured_mass, 'kg')} go into the mould and {tell(kit.heel, '1', '%')} of the charge stay in the pot; "
        + (
            f"dross takes about {tell(melt.loss.value, '1', '%')}"
            if short
            else f"should dross take {tell(melt.loss.high, '1', '%')} instead of {tell(melt.loss.value, '1', '%')}, {tell(most, 'kg')} are needed"
        ),
        do=f"Have {tell(most, 'kg')} ready, clean, dry and cut to fit the pot; a mould half filled is lost with its sand work",
        margin=Margin(value=kit.metal_mass / melt.charge_mass, unit="1", of="metal on hand over the charge", low=kit.metal_mass / most),
        source="loss by furnace: Palmer, Simple Solutions That Work, issue 20; Butler (ed.), Melting and Holding Furnaces for Die Casting",
    )


def _fuel(melt: Melt, kit: Kit) -> Iterator[Finding]:
    if melt.fuel != "propane" or kit.fuel_mass >= melt.fuel_mass.high:
        return
    sure = kit.fuel_mass < melt.fuel_mass.low
    yield Finding(
        code="melt.fuel_short",
        weight="MIND",
        says=f"The melt takes {tell(melt.fuel_mass.low, 'kg')} to {tell(melt.fuel_mass.high, 'kg')} of propane and "
        f"{tell(kit.fuel_mass, 'kg')} are on hand",
        because="even the best furnace of this kind would burn more than there is"
        if sure
        else "a cold furnace with an open flue may burn all of it before the metal is hot",
        do=f"Have {tell(melt.fuel_mass.high, 'kg')} on hand, in cylinders large enough not to freeze up; never warm a cylinder",
        margin=Margin(
            value=kit.fuel_mass / melt.fuel_mass.value,
            low=kit.fuel_mass / melt.fuel_mass.high,
            high=kit.fuel_mass / melt.fuel_mass.low,
            unit="1",
            of="propane on hand over what the melt takes",
        ),
        source="efficiency of small furnaces 5 to 12 %: from memory, unverified",
    )


def _cold(melt: Melt, metal: Metal, kit: Kit) -> Iterator[Finding]:
    """Metal that may have begun to freeze before it enters the mould: nothing is filled or frozen after that."""
    poured = melt.pour_temperature
    if poured.low > metal.liquidus:
        return
    sure = poured.value <= metal.liquidus
    perhaps = "" if sure else f", perhaps at no more than {tell(poured.low, 'K')}"
    yield Finding(
        code="melt.too_cold",
        weight="STOP",
        says=f"The metal enters the mould at {tell(poured.value, 'K')}{perhaps}; "
        f"{metal.name} begins to freeze at {tell(metal.liquidus, 'K')}",
        because="metal that has begun to freeze thickens on the way and stops before the mould is full"
        if sure
        else f"between thermometer, carry and clock the temperature may be {tell(poured.value - poured.low, 'K', 'step')} lower than meant"
        if kit.thermometer
        else f"without a thermometer it may be {tell(poured.value - poured.low, 'K', 'step')} lower than meant",
        do=f"Pour within {tell(metal.pour_low, 'K')} to {tell(metal.pour_high, 'K')}"
        + ("" if kit.thermometer else ", and get a thermocouple in a sheath that stands the metal"),
        margin=Margin(
            value=poured.value - metal.liquidus, low=poured.low - metal.liquidus, high=poured.high - metal.liquidus, unit="K",
            of="pour temperature less the liquidus",
        ),
        source="liquidus of the stores; the spread of the pour temperature is common practice",
    )  # fmt: skip


def _window(pour: PourChosen, part: Part, metal: Metal) -> Iterator[Finding]:
    if pour.asked:
        if metal.pour_low <= pour.taken <= metal.pour_high or pour.taken > metal.too_hot:  # of that the pour says what helps before heat does
            return
        window = f"{tell(metal.pour_low, 'K')} to {tell(metal.pour_high, 'K')}"
        cold = pour.taken < metal.pour_low
        yield Finding(
            code="melt.pour_window",
            weight="MIND",
            says=f"{tell(pour.taken, 'K')} was asked for; {metal.name} is usually poured at {window}",
            because="colder metal may stop before the mould is full" if cold else "hotter metal takes up gas, burns the sand and shrinks more",
            do="Keep to the window unless your own log says otherwise",
            margin=Margin(value=pour.taken - (metal.pour_low if cold else metal.pour_high), unit="K", of="pour temperature less the window's end"),
            source="pouring window: from memory, unverified",
        )
    elif abs(pour.ruled - pour.taken) > 5.0:
        high = pour.ruled > pour.taken
        window = " to ".join(tell(end, "K") for end in metal.aim)
        yield Finding(
            code="melt.pour_window",
            weight="MIND" if high else "NOTE",
            says=f"A wall of {tell(pour.wall, 'm')} wants {tell(pour.ruled, 'K')}; {metal.name} is poured at {window}",
            because=f"walls that thin want {tell(pour.superheat, 'K', 'step')} over the liquidus, and the window ends before that"
            if high
            else f"walls that thick need no more than {tell(pour.superheat, 'K', 'step')} over the liquidus, less than the window begins with",
            do=f"Pour at {tell(pour.taken, 'K')}"
            + ("; a thicker wall, another ingate or more head help more than hotter metal" if high else " and no hotter"),
            margin=Margin(value=pour.taken - pour.ruled, unit="K", of="pour temperature less what the wall wants"),
            source="superheat by wall: from memory, unverified",
        )


def _heat(melt: Melt, metal: Metal) -> Iterator[Finding]:
    if melt.lift_temperature.value <= metal.too_hot:
        return
    holds = rules.hydrogen_solubility(melt.lift_temperature.value) / rules.hydrogen_solubility(max(metal.liquidus, 933.0))
    yield Finding(
        code="melt.hot",
        weight="MIND",
        says=f"The pot is lifted at {tell(melt.lift_temperature.value, 'K')}, above {tell(metal.too_hot, 'K')}",
        because=f"the pot loses {tell(melt.cooling_rate, 'K', 'step')} each second on the way, and metal this hot can hold "
        f"{tell(float(holds), '1')} times the hydrogen that it holds as it begins to freeze",
        do="Shorten the carry, pre-heat tongs and skimmer dry and hot, and lift as soon as the temperature is reached",
        margin=Margin(
            value=metal.too_hot - melt.lift_temperature.value, unit="K", of="temperature above which defects grow, less the lifting temperature"
        ),
        source="Ndaliman & Pius 2004; Talbot & Anyalebechi, Mater. Sci. Technol. 4 (1988) 1-4",
    )


def _thermometer(melt: Melt, metal: Metal, kit: Kit) -> Iterator[Finding]:
    if kit.thermometer:
        return
    spread = melt.pour_temperature.high - melt.pour_temperature.low
    yield Finding(
        code="melt.no_thermometer",
        weight="MIND",
        says=f"Without a thermometer the metal may enter the mould anywhere from {tell(melt.pour_temperature.low, 'K')} "
        f"to {tell(melt.pour_temperature.high, 'K')}",
        because=f"colour tells little; {metal.name} is poured inside {tell(metal.pour_high - metal.pour_low, 'K', 'step')}, "
        f"and this spread is {tell(spread, 'K', 'step')}",
        do="Get a thermocouple in a sheath that stands the metal; of all measurements it narrows this plan the most",
        margin=Margin(value=(metal.pour_high - metal.pour_low) / spread, unit="1", of="pouring window over the spread of the pour temperature"),
        source="common practice",
    )
