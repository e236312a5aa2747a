"""Very large meshes at full size: read and made lighter inside 4 GB, or refused by the number in their head."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.validate

MEMORY = 4 << 30  # bytes a process may come to
ENDLESS = 600  # s of one core's work after which it is taken to hang; speed is measured in bench/scale.py, never here
LINES = """
import json, os, re, resource, sys
sys.path.insert(0, {tests!r})
from strickle.base import BadInput
from strickle.part import formats
from strickle.part.health import bodies
data = open({file!r}, "rb").read()
resource.setrlimit(resource.RLIMIT_CPU, ({endless}, {endless}))
told = {{}}
try:
    (body,) = bodies(formats.read(data, "big.stl"), "big.stl")
    light = body.deep.light
    told = {{"volume": body.volume, "faces": len(body.faces), "from": light.triangles, "change": light.change, "moved": light.moved}}
except BadInput as trouble:
    told = {{"refused": str(trouble)}}
peak = re.search(r"VmHWM:\\s+(\\d+) kB", open("/proc/self/status").read()) if os.path.exists("/proc/self/status") else None
told["memory"] = 1024 * (int(peak[1]) if peak else resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)  # the latter counts the parent's in
print(json.dumps(told))
"""
WRITE = """
import sys
sys.path.insert(0, {tests!r})
from meshes import as_stl, torus
from strickle.part.measure import volume_of
vertices, faces = torus({side})
open({file!r}, "wb").write(as_stl(vertices, faces))
print(volume_of(vertices, faces))
"""


def run(text: str, **given) -> str:
    """A program of its own, so that its memory is its own."""
    given["tests"] = str(Path(__file__).resolve().parents[1])
    done = subprocess.run([sys.executable, "-c", text.format(**given)], capture_output=True, text=True, timeout=1200, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


def test_five_million_triangles_are_made_lighter_and_six_million_refused(tmp_path):
    file = str(tmp_path / "big.stl")
    volume = float(run(WRITE, side=1582, file=file))
    told = json.loads(run(LINES, file=file, endless=ENDLESS))
    assert told["from"] == 2 * 1582**2
    assert told["faces"] <= 500_000
    assert abs(told["change"]) < 2e-3
    assert told["volume"] == pytest.approx(volume, rel=2e-3)
    assert told["memory"] < MEMORY
    run(WRITE, side=1733, file=file)
    told = json.loads(run(LINES, file=file, endless=ENDLESS))
    assert "6006578 triangles, more than the 5500000 that are read" in told["refused"]
    assert told["memory"] < 1 << 30  # its head alone decides
