"""PNG bytes of a picture, by zlib alone."""

from __future__ import annotations

import struct
import zlib

import numpy as np

from strickle.base import Array


def _chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def png(picture: Array, pack: int = 6) -> bytes:
    """8-bit RGBA (height, width, 4) as a PNG file, packed 1 quickly .. 9 small. Raises ValueError for another shape or type."""
    if picture.dtype != np.uint8 or picture.ndim != 3 or picture.shape[2] != 4:
        raise ValueError("a picture is uint8 (height, width, 4)")
    height, width = picture.shape[:2]
    rows = picture.reshape(height, width * 4)
    rise = rows.copy()
    rise[1:] -= rows[:-1]  # filter 2, "up": bytes wrap as the format wants
    raw = np.concatenate([np.full((height, 1), 2, dtype=np.uint8), rise], axis=1).tobytes()
    head = struct.pack(">IIBBBBB", width, height, 8, 6, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", head) + _chunk(b"IDAT", zlib.compress(raw, pack)) + _chunk(b"IEND", b"")
