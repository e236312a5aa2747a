"""What the metal room gives."""

from __future__ import annotations

import math
from dataclasses import dataclass

from strickle.base import ICE_POINT, Array, Outcome, Record, Span, si, word

WISE_ALUMINIUM = (680.0 + ICE_POINT, 750.0 + ICE_POINT)
"""K at the mould. Best surface from 680 degC, more defects above 750 degC (Ndaliman & Pius 2004)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ArmLaw(Record):
    """How the spacing of the crystals' side arms goes with how fast the metal froze: factor times that to a power."""

    by: str = word("freezing time | cooling rate")
    factor: float = si("m", "spacing at one second, or at one kelvin per second")
    power: float = si("1", "exponent")
    spread: float = si("1", "physical scatter either way, as a share")
    source: str = word("where it comes from")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Metal(Outcome):
    """The metal as poured: freezing curve, heats, densities, contraction."""

    metal: str = word("metal key")
    name: str = word("trade name")
    family: str = word("aluminium | zinc | copper | tin | iron")
    liquidus: float = si("K", "first solid on cooling")
    solidus: float = si("K", "last liquid gone")
    coherency: float = si("K", "crystals lock; feeding by flow of the whole mush ends")
    curve_temperature: Array = si("K", "freezing curve, falling", shape="(n,)")
    curve_solid: Array = si("1", "fraction solid along it, rising 0 to 1", shape="(n,)")
    curve_is_rough: bool = word("true where the curve was derived by rule, not published")
    latent_heat: float = si("J/kg", "heat of solidification over the whole range")
    solid_heat_temperature: Array = si("K", "nodes of the solid's heat capacity", shape="(k,)")
    solid_heat: Array = si("J/(kg K)", "heat capacity of the solid at the nodes", shape="(k,)")
    liquid_heat: float = si("J/(kg K)", "heat capacity of the liquid")
    solid_conductivity_temperature: Array = si("K", "nodes of the solid's conductivity", shape="(j,)")
    solid_conductivity: Array = si("W/(m K)", "conductivity of the solid at the nodes", shape="(j,)")
    liquid_conductivity: float = si("W/(m K)", "conductivity of the liquid")
    density_cold: float = si("kg/m3", "solid at room temperature")
    density_solidus: float = si("kg/m3", "solid at the solidus")
    density_liquidus: float = si("kg/m3", "liquid at the liquidus")
    density_slope: float = si("kg/(m3 K)", "change of the liquid's density with temperature")
    viscosity: float = si("Pa s", "liquid near the pour temperature")
    surface_tension: float = si("N/m", "clean liquid")
    emissivity: float = si("1", "of the open liquid surface with its oxide")
    shrinkage: float = si("1", "volume lost on solidification")
    contraction: Span = si("1", "linear, from solidus to cold, as used for the pattern with its spread")
    contraction_why: str = word("where the contraction comes from and why the books differ")
    contraction_is_own: bool = word("true where the person measured it: no restraint is taken off it", default=False)
    free_contraction: float = si("1", "linear contraction from the expansion coefficient alone")
    pour_low: float = si("K", "published window, low end")
    pour_high: float = si("K", "published window, high end")
    arms: ArmLaw | None = word("rule for the arm spacing; none where none is published for this kind of alloy", default=None)

    @property
    def aim(self) -> tuple[float, float]:
        """Lowest and highest pour temperature [K] at the mould that a plan takes of itself: the published window, of aluminium what of it is wise.

        Who asks for more or less gets it, with a finding.
        """
        if self.family != "aluminium":
            return self.pour_low, self.pour_high
        low, high = WISE_ALUMINIUM
        return min(max(self.pour_low, low), high), max(min(self.pour_high, high), low)

    @property
    def too_hot(self) -> float:
        """Pour temperature [K] at the mould above which defects grow; infinite where none is known but the window's end."""
        return WISE_ALUMINIUM[1] if self.family == "aluminium" else math.inf
