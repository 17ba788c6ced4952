"""Pictures made by hand: with everything that cameras and malice put into one."""

import struct
import zlib
from collections.abc import Mapping, Sequence
from io import BytesIO

from PIL import Image, ImageCms

SCRIPT = b"<script>alert(1)</script>"

_ORIENTATION, _MAKER, _GPS = 0x0112, 0x010F, 0x8825


def jpeg(size: tuple[int, int] = (64, 48), colour: str = "red", **options: object) -> bytes:
    """A picture of one colour with a green upper left quarter, so that its turning shows."""
    image = Image.new("RGB", size, colour)
    image.paste("green", (0, 0, size[0] // 2, size[1] // 2))
    return _file(image, "JPEG", quality=95, **options)


def _file(image: Image.Image, form: str, **options: object) -> bytes:
    file = BytesIO()
    image.save(file, form, **options)
    return file.getvalue()


def exif(orientation: int, maker: bytes = SCRIPT) -> bytes:
    """EXIF with a maker and a place: TIFF 6.0, section 2, and Exif 2.3, 4.6.3 and 4.6.6 (from
    memory)."""
    maker += b"\0"
    entries = 3
    after = 8 + 2 + 12 * entries + 4
    gps_at = after + len(maker)
    head = b"II*\0" + struct.pack("<I", 8)
    first = struct.pack("<H", entries)
    first += struct.pack("<HHII", _MAKER, 2, len(maker), after)
    first += struct.pack("<HHIHH", _ORIENTATION, 3, 1, orientation, 0)
    first += struct.pack("<HHII", _GPS, 4, 1, gps_at) + struct.pack("<I", 0)
    latitude = gps_at + 2 + 12 * 2 + 4
    gps = struct.pack("<H", 2)
    gps += struct.pack("<HHI4s", 1, 2, 2, b"S\0")
    gps += struct.pack("<HHII", 2, 5, 3, latitude) + struct.pack("<I", 0)
    gps += struct.pack("<6I", 32, 1, 53, 1, 24, 1)
    return b"Exif\0\0" + head + first + maker + gps


def with_segments(file: bytes, segments: Sequence[tuple[int, bytes]]) -> bytes:
    """A JPEG with further segments after its first marker."""
    more = b"".join(
        bytes([0xFF, marker]) + struct.pack(">H", len(data) + 2) + data for marker, data in segments
    )
    return file[:2] + more + file[2:]


def told_everything(orientation: int = 1) -> bytes:
    """A JPEG with EXIF and a place, XMP, a profile of colours, IPTC, and a comment."""
    xmp = b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta>" + SCRIPT + b"</x:xmpmeta>"
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    return with_segments(
        jpeg(),
        [
            (0xE1, exif(orientation)),
            (0xE1, xmp),
            (0xE2, b"ICC_PROFILE\0\x01\x01" + profile),
            (0xED, b"Photoshop 3.0\x008BIM\x04\x04\0\0\0\0\0\x08Mendoza!"),
            (0xFE, SCRIPT),
        ],
    )


def markers(file: bytes) -> list[int]:
    """The markers of a JPEG up to its scan (ITU-T T.81, annex B.1.1; from memory)."""
    found, at = list[int](), 2
    while file[at] == 0xFF and file[at + 1] != 0xDA:
        found.append(file[at + 1])
        at += 2 + struct.unpack(">H", file[at + 2 : at + 4])[0]
    return found


def png(size: tuple[int, int], chunks: Mapping[bytes, bytes] | None = None) -> bytes:
    """A grey PNG that claims a size and has hardly any data; with further chunks (RFC 2083)."""
    head = struct.pack(">IIBBBBB", *size, 8, 0, 0, 0, 0)
    body = [(b"IHDR", head), *(chunks or {}).items(), (b"IDAT", zlib.compress(b"\0" * 1_000))]
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        for kind, data in [*body, (b"IEND", b"")]
    )


def picture(form: str, mode: str = "RGB", size: tuple[int, int] = (64, 48)) -> bytes:
    """A picture in another format or with other channels."""
    colours = {
        "RGB": "red",
        "RGBA": (255, 0, 0, 0),
        "L": 200,
        "I;16": 40_000,
        "CMYK": (0, 255, 255, 0),
    }
    if mode == "P":
        return _file(Image.new("RGB", size, "red").quantize(), form)
    return _file(Image.new(mode, size, colours[mode]), form)  # type: ignore[arg-type]
