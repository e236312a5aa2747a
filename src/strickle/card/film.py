"""From sheets to picture files: PNG of a sheet, and an animated GIF of sheets over pictures."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

import numpy as np

from strickle.base import Array, Trouble
from strickle.card.lettering import folder
from strickle.card.svg import Sheet

COLOURS = 255
WAIT = 2500  # ms, the last picture


def pngs(sheets: Sequence[Sheet], dots: float, *, clear: bool = False) -> list[bytes]:
    """Each sheet as a PNG of ``dots`` pixels an inch, on white or ``clear``. Raises Trouble when typst refuses one."""
    import typst

    fill = "none" if clear else "white"
    pages = "".join(
        f'#page(width: {s.width}mm, height: {s.height}mm, margin: 0mm, fill: {fill}, image("{i}.svg", width: 100%))\n' for i, s in enumerate(sheets)
    )
    inputs = {"main.typ": pages.encode(), **{f"{i}.svg": s.written() for i, s in enumerate(sheets)}}
    try:
        make: Any = typst.compile
        out = make(inputs, font_paths=[folder()], ignore_system_fonts=True, format="png", ppi=dots)
    except typst.TypstError as trouble:
        raise Trouble("a picture could not be set", f"Report this as our fault: {str(trouble).splitlines()[0][:200]}") from trouble
    return [bytes(one) for one in ([out] if isinstance(out, bytes) else out)]


def film(over: Sequence[bytes], under: Sequence[Sequence[tuple[Array, int, int]]], each: int) -> bytes:
    """An animated GIF that starts again: clear PNGs ``over`` pictures, each frame's as (RGBA, left, top) in pixels; ``each`` [ms] a frame."""
    from PIL import Image

    frames = []
    for sheet, pictures in zip(over, under, strict=True):
        front = Image.open(io.BytesIO(sheet)).convert("RGBA")
        frame = Image.new("RGBA", front.size, (255, 255, 255, 255))
        for picture, left, top in pictures:
            frame.alpha_composite(Image.fromarray(picture), (left, top))
        frame.alpha_composite(front)
        frames.append(frame.convert("RGB"))
    some = frames[:: max(1, len(frames) // 6)]
    together = Image.fromarray(np.concatenate([np.asarray(frame) for frame in (*some, frames[-1])], axis=0))
    palette = together.quantize(COLOURS, method=Image.Quantize.MEDIANCUT)  # one for all frames, so that nothing flickers
    flat = [frame.quantize(palette=palette, dither=Image.Dither.NONE) for frame in frames]
    out = io.BytesIO()
    times = [each] * (len(flat) - 1) + [WAIT]
    flat[0].save(out, format="GIF", save_all=True, append_images=flat[1:], duration=times, loop=0, optimize=False, disposal=1)
    return out.getvalue()
