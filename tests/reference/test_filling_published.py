"""Filling against published experiments and rules, through the public door."""

import numpy as np
import pytest

from flows import T, Z, dam, jump, kept, late, pipe, say, shift, slot, slot_share, thin_pipe
from strickle import poured


@pytest.mark.parametrize("per", [12, 24])  # 48 in tests/outside
def test_dam_break_of_martin_and_moyce(per):
    told = kept(dam(per, deep=2))
    (mean, fitted), fixed, errors, (when, at) = shift(told, per, T, Z)
    say(f"a/{per}: mean error {mean:.3f} a at shift {fitted:.3f}; with Z = 1.44 at T = 1.19 (shift {fixed:.3f}) worst {np.abs(errors).max():.3f}")
    assert np.abs(errors).max() <= 0.12
    assert 0.1 <= fitted <= 0.3
    assert mean <= 0.05
    # Ritter, Die Fortpflanzung der Wasserwellen, Z. VDI 36 (1892) 947-954 (from memory): x = a + 2 t sqrt(g h0) bounds every front
    assert (at <= 1.0 + 2.0 * when).all()


@pytest.mark.parametrize(("across", "quarter", "cell"), [(4, False, 0.0025), (4, True, 0.0025), (8, True, 0.00125)])
def test_a_short_square_pipe_passes_what_a_short_tube_does(across, quarter, cell):
    """Discharge 0.78-0.85 of the frictionless fall; 0.82 for a short tube with a sharp entry (common practice)."""
    told, ideal = pipe(across, quarter, cell)
    kept(told)
    share = late(told) / ideal
    say(f"{across} cells: {share:.3f}")
    assert 0.78 <= share <= 0.85


ASIDE = [(0.0, 0.0), (0.15, 0.15), (0.25, 0.1), (0.5, 0.2), (0.35, 0.35), (0.5, 0.5)]


@pytest.mark.parametrize("off", ASIDE)
def test_a_straight_pipe_of_2_3_cells_wherever_it_lies(off):
    """Within 5 % of A sqrt(2 g H / (1 + 0.5)): 0.5 is the loss of a sharp entry (common practice)."""
    told, ideal = thin_pipe(off)
    kept(told)
    ratio = late(told) / ideal * np.sqrt(1.5)
    say(f"straight, {off} cells aside: {ratio:.3f} of the hydraulic flow")
    assert abs(ratio - 1.0) <= 0.05


@pytest.mark.parametrize("off", ASIDE)
def test_a_taper_to_2_3_cells_wherever_it_lies(off):
    """The same entry loss, on the speed in the wide upper end."""
    told, ideal = thin_pipe(off, long=0.075, top=0.015)
    kept(told)
    ratio = late(told) / ideal * np.sqrt(1.0 + 0.5 * (0.00575 / 0.015) ** 4)
    say(f"taper, {off} cells aside: {ratio:.3f} of the hydraulic flow")
    assert abs(ratio - 1.0) <= 0.05


@pytest.mark.parametrize("across", [10])  # 16 in tests/outside
@pytest.mark.parametrize(("froude", "ratio"), [(2.0, 2.372281), (3.0, 3.772002)])
def test_depths_at_a_hydraulic_jump(froude, ratio, across):
    """Belanger's relation y2/y1 = (sqrt(1 + 8 Fr^2) - 1)/2 (common practice), seen from the moving jump: a bore into still water.

    Depth between the inlet and the roller, which is some six depths long (common practice); the bore's own speed follows from the depth, as
    what is poured in stands between.
    """
    found = jump(froude, ratio, across)
    say(f"Fr {froude}, {across} cells: depths {found:.4f}, asked {ratio:.4f}: {found / ratio - 1:+.2%}")
    assert found == pytest.approx(ratio, rel=0.03)


@pytest.mark.parametrize("tension", [1.0, 2.0])
def test_a_slot_lets_go_at_its_capillary_head(tension):
    """Metal that does not wet sand enters a slot t against 2 gamma/t (common practice): 0.9 of that head is held, 1.1 lets go."""
    head = 2.0 * tension / 0.003 / (2385.0 * 9.81)
    below, above = (kept(slot(part * head, tension)) for part in (0.9, 1.1))
    say(f"gamma {tension}: slot {slot_share(below):.3f} full at 0.9, {slot_share(above):.3f} at 1.1 of {head * 1e3:.1f} mm")
    assert slot_share(below) < 0.01
    assert slot_share(above) > 0.5


@pytest.mark.parametrize("tension", [1.0, pytest.param(2.0, marks=pytest.mark.validate)])
def test_a_slowly_rising_head_lets_go_at_the_same_height(tension):
    """The shaft is filled from its foot at 10 mm/s, begun softly (a flow begun at once knocks metal in): the slot is entered, two cells deep, when
    the surface stands 2 gamma/(t rho g) over its middle, within 10 %.
    """
    head = 2.0 * tension / 0.003 / (2385.0 * 9.81)
    first = 1e3 * (0.7 * head + 0.0015)
    feed = poured(88e-8 * np.arange(1, 42) / 41.0, times=np.linspace(0.0, 0.4, 41))
    told = kept(slot(0.0, tension, feed=feed, until=0.5 * head / 0.01 + 0.2, deep=first, tall=int(first + 900 * head), full=2.0))
    entered = np.nanmin(told.arrival[14])
    stood = first * 1e-3 - 0.0015 + np.interp(entered, told.times, told.inflow) / 88e-6
    say(f"gamma {tension}: let go at {stood * 1e3:.1f} mm, law {head * 1e3:.1f} mm: {stood / head - 1:+.1%}")
    assert stood == pytest.approx(head, rel=0.1)
