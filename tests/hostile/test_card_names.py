"""Names that would be markup in the card's typesetter stand on the card as they are."""

from __future__ import annotations

import dataclasses
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "day"))
import card_factory as factory

from strickle.card.steps import write

NAMES = [
    "#sys.exit(1)", "*bold* _it_ $x$", "@ref <lab> `raw`", '"]; #panic("x")', "\\u{1F600} \\(1 + 1)", "= Head", '#include("/etc/passwd")',
    "/* a */ // b",
]  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_markup_in_a_name_is_shown_and_not_run(tmp_path, name):
    results = factory.results()
    results["part"] = dataclasses.replace(results["part"], file=f"{name}.stl", body=name)
    metal_and_part = {stage: results[stage] for stage in ("metal", "part")}
    files = write(verdict=factory.CASTABLE, findings=[], kit=factory.kit(), **metal_and_part)
    assert files["card.pdf"].startswith(b"%PDF")
    if shutil.which("pdftotext") is None:
        return
    (tmp_path / "card.pdf").write_bytes(files["card.pdf"])
    text = subprocess.run(["pdftotext", "-layout", str(tmp_path / "card.pdf"), "-"], capture_output=True, text=True, check=True).stdout
    assert "".join(name.split()) in "".join(text.split())
