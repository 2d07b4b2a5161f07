"""A picture that a person sends, made small and harmless: pixels only, as one JPEG."""

from __future__ import annotations

import io
import struct
import threading
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PIL import Image

LONGEST_PX = 1600
THUMB_PX = 320
QUALITY = 80
MOST_BYTES = 12 * 1024 * 1024
# What a board with little memory can unpack. A JPEG is read small at once, others whole.
MOST_PIXELS = {"JPEG": 51_000_000, "MPO": 51_000_000, "PNG": 26_000_000, "WEBP": 26_000_000}
# The largest takes about 200 MB for a moment; two at once would be too much for a small board.
_ONE_AT_A_TIME = threading.Lock()
_TOO_MANY = "The photo is too large, {}; choose a smaller size in the camera"
# Pillow's readers answer broken bytes with one of these.
_BROKEN = (OSError, SyntaxError, ValueError, EOFError, LookupError, TypeError, struct.error)
WANTED = "send it as JPEG, PNG or WebP"
# Brands of the ISO media container that phones keep still pictures in.
_PHONE_BRANDS = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"mif1", b"msf1", b"avif"})


class RefusedPicture(ValueError):
    """A picture that cannot be taken; the words say why and what to do."""


@dataclass(frozen=True)
class Picture:
    """A JPEG without metadata, upright, in pixels."""

    width: int
    height: int
    jpeg: bytes


def shrunk(data: bytes, longest_px: int = LONGEST_PX, quality: int = QUALITY) -> Picture:
    """The picture upright, at most `longest_px` long, with nothing in it but its pixels.

    Raises RefusedPicture for what is no JPEG, PNG or WebP, is broken, or is too large.
    """
    _refuse_unread(data)
    # Imported here, as a page without photos needs none of it; the three readers and no more.
    from PIL import Image, JpegImagePlugin, PngImagePlugin, WebPImagePlugin

    known = tuple(
        one.format
        for one in (
            JpegImagePlugin.JpegImageFile,
            PngImagePlugin.PngImageFile,
            WebPImagePlugin.WebPImageFile,
        )
    )
    try:
        with _ONE_AT_A_TIME, Image.open(io.BytesIO(data), formats=known) as opened:
            _refuse_huge(opened.format or "", *opened.size)
            # For a JPEG this decodes at a fraction of the size: little memory, little time.
            opened.thumbnail((longest_px, longest_px), Image.Resampling.LANCZOS, reducing_gap=2.0)
            upright = _upright(opened)
            # A new image starts without metadata: no place, time, camera, comment or profile.
            clean = Image.new("RGB", upright.size, "white")
            if upright.mode in ("RGBA", "LA", "PA") or "transparency" in upright.info:
                clear = upright.convert("RGBA")
                clean.paste(clear, mask=clear.getchannel("A"))
            else:
                clean.paste(upright.convert("RGB"))
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise RefusedPicture(_TOO_MANY.format("far more pixels than can be read")) from error
    except RefusedPicture:
        raise
    except _BROKEN as error:
        raise RefusedPicture(
            "The photo cannot be read: it is broken or was cut short on the way. "
            f"Take it or send it again; {WANTED}"
        ) from error
    out = io.BytesIO()
    clean.save(out, "JPEG", quality=quality, optimize=True)
    return Picture(*clean.size, out.getvalue())


def _upright(opened: Image.Image) -> Image.Image:
    """The picture turned as its camera was held. A broken note of that turns nothing."""
    from PIL import ExifTags, Image

    try:
        held = opened.getexif().get(ExifTags.Base.Orientation, 1)
    except _BROKEN:
        return opened
    turn = {
        2: Image.Transpose.FLIP_LEFT_RIGHT,
        3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_270,
        7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_90,
    }.get(held)
    return opened if turn is None else opened.transpose(turn)


def _refuse_unread(data: bytes) -> None:
    if not data:
        raise RefusedPicture("The photo is empty; choose it again")
    if len(data) > MOST_BYTES:
        raise RefusedPicture(
            f"The photo has {len(data) / 1e6:.1f} MB; at most {MOST_BYTES / 1e6:.1f} are taken. "
            "Choose a smaller size in the camera"
        )
    if data[4:8] == b"ftyp" and data[8:12] in _PHONE_BRANDS:
        raise RefusedPicture(
            "The photo is HEIC or AVIF, as some phones keep them, which is not read here; "
            f"{WANTED} (in the camera's settings: most compatible)"
        )
    known = data[:3] == b"\xff\xd8\xff" or data[:8] == b"\x89PNG\r\n\x1a\n"
    if not known and not (data[:4] == b"RIFF" and data[8:12] == b"WEBP"):
        raise RefusedPicture(f"The file is no photo that is read here; {WANTED}")


def _refuse_huge(kind: str, width: int, height: int) -> None:
    most = MOST_PIXELS[kind]
    if width * height > most:
        has = f"{width * height / 1e6:.0f} million pixels where {most / 1e6:.0f} can be read"
        raise RefusedPicture(_TOO_MANY.format(has))
