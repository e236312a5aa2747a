"""The five public parts through the pattern room."""

import numpy as np
import pytest
import trimesh

from pattern_shop import FIVE, aluminium, public_part
from strickle.base import quiet, render
from strickle.pattern import PatternAsk
from strickle.pattern.directions import solid
from strickle.pattern.steps import make
from strickle.pattern.undercut import withdrawn
from strickle.stores import load

STORES = load()
# sand a flat-parted mould cannot release at the level chosen, as a share of the part, at most
MOST_FILLED = {"pulley_t30": 1e-4, "testbed_base": 1e-4, "sensor_base_plate": 0.015, "table_attachment": 0.021, "featuretype_inch": 0.029}


FULL = ("sensor_base_plate", "table_attachment")  # ten seconds each


@pytest.mark.parametrize("name", [pytest.param(name, marks=pytest.mark.validate) if name in FULL else name for name in FIVE])
def test_a_public_part_gets_a_pattern_that_draws(name):
    part = public_part(name)
    result = make(part, aluminium(), STORES, PatternAsk(), quiet)
    assert np.degrees(np.arccos(min(abs(result.draw[2]), 1.0))) < 0.05
    assert result.undercut_volume <= MOST_FILLED[name] * part.volume * float(result.scale.prod())
    assert not result.stops
    cavity = solid(result.cavity)
    counted = part.volume * float(result.scale.prod()) + result.undercut_volume + result.draft_volume + result.holes_filled
    assert float(cavity.volume()) * 1e-9 == pytest.approx(counted, rel=1e-5)
    assert len(cavity.decompose()) == 1
    assert max(withdrawn(cavity)) < 0.5
    assert len(result.face_draft) == len(part.mesh.faces)
    for piece in result.pieces:
        mesh = trimesh.Trimesh(piece.mesh.vertices, piece.mesh.faces, process=False)
        assert mesh.is_watertight
        assert mesh.volume == pytest.approx(piece.volume, rel=1e-6)
        side = piece.mesh.vertices[:, 2] * (1 if piece.half == "cope" else -1)
        assert side.min() > -1e-9
    for finding in result.findings:
        for text in (finding.says, finding.because, finding.do):
            assert "{{" not in render(text)
            assert "nan" not in render(text)
