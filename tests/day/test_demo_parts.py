"""The demo parts drawn in code: sound solids that draw as they stand, letters that are really there, and their plans."""

from __future__ import annotations

import itertools
import math

import manifold3d as m3
import numpy as np
import pytest
import trimesh

import strickle
from strickle.base import BadInput
from strickle.cli import main
from strickle.cli.commands import DEMOS as OFFERED
from strickle.job import demo_plate, demo_wheel
from strickle.job.demo import DEMOS, INVENTED, demo
from strickle.job.letters import raised, text
from strickle.pattern.columns import view
from strickle.pattern.crooked import saving
from strickle.pattern.field import lay
from strickle.pattern.undercut import plain
from strickle.stores.kit import starter_kit

NAMES = [one.name for one in DEMOS]
HOLES = {"bracket": 0, "handwheel": 6, "plate": 0}
VOLUME = {"bracket": (100e3, 400e3), "handwheel": (130e3, 180e3), "plate": (50e3, 62e3)}  # mm3
SIZE = {"bracket": (195.0, 110.0, 46.0), "handwheel": (170.0, 170.0, 35.0), "plate": (120.0, 72.0, 8.0)}  # mm, at most
LOOKS = {"bracket": "demo.job", "handwheel": "handwheel.job", "plate": "plate.job"}


def test_the_command_offers_the_demos_there_are():
    assert tuple(NAMES) == OFFERED
    assert {one.name: one.folder for one in DEMOS} == LOOKS
    assert all(one.says for one in DEMOS)


def test_an_unknown_demo_is_one_line_and_no_folder(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["demo", "lamp"]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err == "strickle: 'lamp' is no demo. Give one of bracket, handwheel, plate.\n"
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("name", NAMES)
def test_a_demo_is_one_sound_solid(name):
    vertices, faces = demo(name).draw()
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.body_count == 1
    assert mesh.euler_number == 2 - 2 * HOLES[name]
    assert VOLUME[name][0] < mesh.volume < VOLUME[name][1]
    assert np.all(np.sort(mesh.extents) <= np.sort(SIZE[name]))


@pytest.mark.parametrize("name", ["bracket", "plate"])
def test_a_demo_draws_from_its_parting_at_zero(name):
    """No metal hides sand: along z, above the parting the section only shrinks, and below it too."""
    vertices, faces = demo(name).draw()
    solid = m3.Manifold(m3.Mesh64(vertices, faces.astype(np.uint64)))
    for way in (1.0, -1.0):
        end = max(0.0, float((way * vertices[:, 2]).max()))
        levels = np.linspace(1e-3, end - 1e-3, 12) if end > 0 else []
        sections = [solid.slice(way * z) for z in levels]
        for lower, upper in itertools.pairwise(sections):
            assert (upper - lower).area() < 1e-3 * max(upper.area(), 1.0)


def test_the_wheel_draws_along_a_crooked_joint_and_along_no_flat_one():
    wheel = demo_wheel.handwheel()
    told = saving(view(*plain(wheel), 260), lay(wheel), float(wheel.volume()))
    assert told.worth
    assert told.best > 0.03 * told.volume
    assert told.crooked < 1e-3 * told.volume


def test_the_spokes_are_five_and_alike():
    section = demo_wheel.handwheel().project()
    turned = section.rotate(360.0 / demo_wheel.SPOKES)
    crank = math.pi * demo_wheel.CRANK**2
    assert (section ^ turned).area() > section.area() - crank
    assert len(section.to_polygons()) == 1 + demo_wheel.SPOKES + 1  # outside, windows, bore


def test_the_letters_are_on_the_plate_and_nothing_else_is_changed():
    plate, letters = demo_plate.plate(), demo_plate.lettering().translate((0, 0, demo_plate.THICK))
    above = plate.split_by_plane((0, 0, 1), demo_plate.THICK)[0]
    proud = letters.split_by_plane((0, 0, 1), demo_plate.THICK)[0]
    assert (above ^ letters).volume() == pytest.approx(proud.volume(), rel=1e-4)
    assert (above - letters.scale((1, 1, 2))).volume() > 0  # border and bosses
    bare = plate - proud
    assert plate.volume() - bare.volume() == pytest.approx(proud.volume(), rel=1e-4)
    count = sum(len(words.replace(" ", "")) for words, *_ in demo_plate.LINES)
    assert len(proud.decompose()) == count


def test_letters_keep_their_distance_and_their_stroke():
    """Sand between the feet of two letters stands 1.2 mm wide, metal in a stroke 1.6 mm: less tears out or does not fill (common practice)."""
    grow = demo_plate.RELIEF * math.tan(demo_plate.LEAN)
    for words, cap, _ in demo_plate.LINES:
        face = text(words, cap, demo_plate.SPACING)
        assert len(face.offset(grow + 0.6, m3.JoinType.Round).decompose()) == len(words.replace(" ", ""))
        stroke = face.offset(-0.8, m3.JoinType.Miter).offset(0.8, m3.JoinType.Miter)
        assert stroke.area() > 0.98 * face.area()


@pytest.mark.parametrize("cap", [6.0, 10.0, 25.0])
def test_capitals_are_as_high_as_asked_and_centred(cap):
    left, low, right, high = text("HEH", cap).bounds()
    assert (low, high) == pytest.approx((0.0, cap), abs=1e-6)
    assert abs(left + right) < 0.1 * cap
    assert text("HEH", cap, 2.0).bounds()[2] - text("HEH", cap).bounds()[2] == pytest.approx(2.0, abs=1e-6)


@pytest.mark.parametrize("line", ["A", "B8&%", "QO0", "gajy", "ÄÉñ", "i.,:;!?", "No. 7", "WMK#"])
@pytest.mark.parametrize("cap", [5.0, 12.0])
def test_raised_letters_have_the_volume_of_their_sections(line, cap):
    """The body of a lean is a prismatoid: a third way to its volume is Simpson's sum of outlines grown by an outside library."""
    face, height, lean = text(line, cap, 1.0), 1.4, math.radians(8.0)
    body = raised(face, height, lean)
    assert body.status() == m3.Error.NoError
    middle, foot = (face.offset(share * height * math.tan(lean), m3.JoinType.Miter, 20.0).area() for share in (0.5, 1.0))
    assert body.volume() == pytest.approx(height / 6 * (face.area() + 4 * middle + foot), rel=3e-3)


@pytest.mark.parametrize(("line", "told"), [("LATHE ☃", "'☃', which the packaged font has not"), ("A\n", "has not"), ("  ", "is empty")])
def test_what_cannot_be_lettered_is_refused(line, told):
    with pytest.raises(BadInput, match=told) as refused:
        text(line, 10.0)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize("name", [pytest.param("handwheel", marks=pytest.mark.validate), "plate"])
def test_a_look_finds_nothing_that_does_not_draw(name, tmp_path):
    chosen = demo(name)
    part = tmp_path / f"{name}.stl"
    part.write_bytes(chosen.stl())
    asks = {k: v for k, v in chosen.asks.items() if k != "up"}
    seen = strickle.look(part, out=tmp_path / "job", kit=starter_kit(), **asks)
    assert not seen.stages["part"].mended_volume_change
    pattern = seen.stages["pattern"]
    assert pattern.undercut_volume < 1e-6 * seen.stages["part"].volume  # what the crooked joint's net leaves under a curved edge
    assert pattern.undrafted_area < 1e-9
    assert abs(pattern.parting_level) < 1e-5
    assert abs(abs(pattern.draw[2]) - 1) < 1e-9
    assert seen.exit_code == 0


@pytest.mark.validate
@pytest.mark.parametrize("name", ["handwheel", "plate"])
def test_a_demo_is_castable_and_its_job_says_it_is_invented(name, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    assert main(["demo", name, "--quiet"]) == 0
    assert capsys.readouterr().out.startswith("CASTABLE\n")
    job = strickle.load(tmp_path / LOOKS[name])
    assert (job.folder / "job.toml").read_text().startswith(f"# {INVENTED}\n")
    assert not [f for f in job.findings if f.weight == "STOP"]
    rigging, sound = job.stages["rigging"], job.stages["sound"]
    if name == "handwheel":
        at = sorted(float(np.hypot(*(job.stages["part"].hot_spots[r.spot].at[:2] * 1e3))) for r in rigging.risers)
        assert at[0] < demo_wheel.HUB  # beside the bore, which is filled for the drill
        assert at[1:] == pytest.approx([demo_wheel.RIM], abs=4.0)  # on the crank boss
        assert all(n.margin >= 1.05 for n in sound.necks)
    else:
        assert not rigging.risers
        assert job.stages["pattern"].cope_depth < 1e-6  # the lettered face lies down, where the metal is cleanest
