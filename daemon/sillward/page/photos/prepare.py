"""A photo as it came, made into one that can be kept: turned, resized, and without anything else.

Only what can be seen is kept. Where and when a photo was taken, with what, its comments and its
preview are left behind, because the new photo is made from the pixels alone.
"""

from io import BytesIO
from pathlib import Path
from typing import NamedTuple
from warnings import catch_warnings

from PIL import Image, ImageCms, ImageOps

FORMATS = ("JPEG", "PNG", "WEBP")
"""What is taken, told by its content. Judgement: what phones and browsers write, with decoders that
are widely used and looked after."""

MAX_PIXELS = 60_000_000
"""Judgement: above what phones write by default (12 to 50 million)."""

LARGE_PX, SMALL_PX = 1600, 320
"""The longest side of the photo that is kept, and of the one in lists. Judgement: the leaf of a
plant fills a phone's screen, and a list of twenty stays below half a megabyte."""

QUALITY = 85
"""Of a JPEG. Judgement: above this files grow faster than anybody can see."""

_HEIC = b"ftyp"


class RefusedError(Exception):
    """It is not taken; the text says why."""


class Prepared(NamedTuple):
    """A photo in its two sizes, as JPEG files."""

    large: bytes
    small: bytes


def prepared(path: Path) -> Prepared:
    """Return the photo in a file as it is kept. Raise RefusedError."""
    try:
        with catch_warnings(action="ignore"), Image.open(path, formats=FORMATS) as image:
            if image.width * image.height > MAX_PIXELS:
                msg = f"it has more than {MAX_PIXELS // 1_000_000} million pixels"
                raise RefusedError(msg)
            seen = _as_seen(image)
    except (RefusedError, MemoryError):
        raise
    except Exception:  # whatever a decoder makes of a broken or hostile file
        msg = "it cannot be read as a picture"
        if _is_heic(path):
            msg = "it is a HEIC picture; send it as JPEG"
        elif path.stat().st_size == 0:
            msg = "it is empty"
        raise RefusedError(msg) from None
    small = seen.copy()
    small.thumbnail((SMALL_PX, SMALL_PX), Image.Resampling.LANCZOS)
    return Prepared(_jpeg(seen), _jpeg(small))


def _as_seen(image: Image.Image) -> Image.Image:
    """Return the first frame upright, in sRGB, no larger than it is kept, and without metadata."""
    shrink = LARGE_PX / max(image.size)
    if shrink < 1:  # a JPEG is then decoded at a half, a quarter or an eighth of its size
        image.draft("RGB", (round(image.width * shrink) or 1, round(image.height * shrink) or 1))
    profile = image.info.get("icc_profile")
    turned = _upright(image)
    plain = _rgb(turned)
    plain.thumbnail((LARGE_PX, LARGE_PX), Image.Resampling.LANCZOS)
    return _without_metadata(_in_srgb(plain, profile))


def _upright(image: Image.Image) -> Image.Image:
    """Return the image turned as its EXIF or XMP says; as it is if that cannot be read."""
    try:
        image.load()
        return ImageOps.exif_transpose(image)
    except (MemoryError, OSError):
        raise
    except Exception:
        return image


def _rgb(image: Image.Image) -> Image.Image:
    """Return the image as RGB; what is transparent becomes white."""
    if image.mode.startswith("I"):  # 16 bits of grey, which a plain conversion would cut off
        return image.point(lambda value: value / 256).convert("L").convert("RGB")
    if image.has_transparency_data:
        with_alpha = image.convert("RGBA")
        ground = Image.new("RGB", image.size, "white")
        ground.paste(with_alpha, mask=with_alpha.getchannel("A"))
        return ground
    return image.convert("RGB")


def _in_srgb(image: Image.Image, profile: object) -> Image.Image:
    """Return the image in the colours of the web, if its profile of another can be used."""
    if not isinstance(profile, bytes):
        return image
    try:
        own = ImageCms.ImageCmsProfile(BytesIO(profile))
        converted = ImageCms.profileToProfile(image, own, ImageCms.createProfile("sRGB"))
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
        return image
    return image if converted is None else converted


def _without_metadata(image: Image.Image) -> Image.Image:
    """Return a new image with these pixels and nothing else."""
    bare = Image.new("RGB", image.size)
    bare.paste(image)
    return bare


def _jpeg(image: Image.Image) -> bytes:
    file = BytesIO()
    image.save(file, "JPEG", quality=QUALITY, optimize=True)
    return file.getvalue()


def _is_heic(path: Path) -> bool:
    """Whether a file begins like pictures of some phones do (ISO 23008-12; from memory)."""
    with path.open("rb") as file:
        return file.read(8)[4:] == _HEIC
