"""Which rule a stored metal has for its arm spacing (F3, F4), and how its own hot-tear ratio ranks it."""

import numpy as np
import pytest

from strickle.base import render
from strickle.job.kit import stores_with
from strickle.metal import MetalAsk
from strickle.metal.steps import blend
from strickle.sound import Weak
from strickle.sound.criteria import alloys_own, arms
from strickle.sound.findings import _weak
from strickle.sound.steps import _Constants
from strickle.stores.kit import starter_kit


@pytest.fixture(scope="module")
def metal():
    stores = stores_with(starter_kit())
    return lambda key: blend(MetalAsk(metal=key), stores)


@pytest.mark.parametrize(("rate", "microns"), [(0.5, 49.1), (0.1, 81.8)])
def test_f4_a356(metal, rate, microns):
    a356 = metal("a356")
    local = np.array([(a356.liquidus - a356.solidus) / rate])
    assert arms(local, a356)[0] * 1e6 == pytest.approx(microns, abs=0.06)
    assert "Spear" in a356.arms.source


def test_f3_a319(metal):
    """Cu 3.5, Si 6 by local freezing time."""
    a319 = metal("a319")
    assert arms(np.array([60.0, 200.0]), a319) * 1e6 == pytest.approx([41.56, 53.39], abs=0.006)
    assert "Ronto" in a319.arms.source


@pytest.mark.parametrize("key", ["al_pure", "6063", "silicon_bronze", "za12"])
def test_other_metals_have_none(metal, key):
    assert metal(key).arms is None
    assert arms(np.array([60.0]), metal(key)) is None


def test_hot_tear_ratio_ranks_alloys_as_the_trade_does(metal):
    """A356 is rated best in resistance to hot cracks, 319 next (a foundry's alloy table); extrusion scrap tears."""
    ratio = {key: alloys_own(metal(key)) for key in ("alsi12", "a356", "a319", "6063", "6061")}
    assert list(ratio) == sorted(ratio, key=ratio.__getitem__)
    bar = stores_with(starter_kit()).constants["hot_tear.ratio"]
    assert ratio["a319"] < bar.low
    assert ratio["6061"] > bar.high
    assert ratio["6063"] > bar.value


def test_the_finding_on_porosity_says_that_thresholds_hang_on_the_alloy_and_where_ours_comes_from(metal):
    stores = stores_with(starter_kit())
    constants = _Constants(stores)
    bar = constants("niyama.threshold")
    weak = Weak(at=np.zeros(3), at_part=np.zeros(3), value=0.2)
    for key, alone in (("a356", False), ("c90300", True)):
        found = _weak({"least_niyama": weak, "poor_share": 0.1}, bar, constants.says(bar), metal(key), False)
        told = render(found.because)
        assert "depend on the alloy" in told
        assert "0.25 to 0.4" in told
        assert f"Ours: {stores.sources['niyama'].says} (memory)" in told
        assert ("only a guide" in told) == alone
