"""What is kept of a photo: its pixels, upright and small, and nothing of what came with them."""

from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image

from sillward.page.photos import prepare
from sillward.page.photos.prepare import Prepared, RefusedError, prepared
from tests.support.photos import (
    SCRIPT,
    exif,
    jpeg,
    markers,
    picture,
    png,
    told_everything,
    with_segments,
)


def kept(tmp_path: Path, content: bytes) -> Prepared:
    file = tmp_path / "upload"
    file.write_bytes(content)
    return prepared(file)


def opened(file: bytes) -> Image.Image:
    return Image.open(BytesIO(file), formats=["JPEG"]).convert("RGB")


def colour_of(image: Image.Image, x: float, y: float) -> str:
    """Whether a point, in shares of the sides, is rather red or rather green."""
    found = image.getpixel((int(x * (image.width - 1)), int(y * (image.height - 1))))
    assert isinstance(found, tuple)
    return "red" if found[0] > found[1] else "green"


def test_nothing_is_kept_but_what_can_be_seen(tmp_path: Path) -> None:
    content = told_everything()
    assert set(markers(content)) >= {0xE1, 0xE2, 0xED, 0xFE}

    for size in kept(tmp_path, content):
        # JFIF, tables and the frame: ITU-T T.81, table B.1 (from memory).
        assert set(markers(size)) <= {0xE0, 0xDB, 0xC0, 0xC4}
        assert not opened(size).getexif()
        for trace in (b"Exif", b"script", b"ICC", b"xmp", b"8BIM", b"Mendoza"):
            assert trace not in size


@pytest.mark.parametrize(
    ("orientation", "green_at", "is_upright"),
    # Where the first row and the first column are to be seen: Exif 2.3, table 5 (from memory).
    [
        (1, (0, 0), True),
        (2, (1, 0), True),
        (3, (1, 1), True),
        (4, (0, 1), True),
        (5, (0, 0), False),
        (6, (1, 0), False),
        (7, (1, 1), False),
        (8, (0, 1), False),
    ],
)
def test_it_is_turned_as_the_camera_was_held(
    tmp_path: Path, orientation: int, green_at: tuple[int, int], is_upright: bool
) -> None:
    large = opened(kept(tmp_path, told_everything(orientation)).large)

    assert large.size == ((64, 48) if is_upright else (48, 64))
    corners = {(x, y): colour_of(large, x, y) for x in (0, 1) for y in (0, 1)}
    assert [at for at, colour in corners.items() if colour == "green"] == [green_at]


@pytest.mark.parametrize("size", [(4000, 2000), (2000, 4000), (1601, 20), (900, 9000)])
def test_it_is_made_small(tmp_path: Path, size: tuple[int, int]) -> None:
    photo = kept(tmp_path, jpeg(size))

    for made, longest in ((photo.large, 1600), (photo.small, 320)):
        width, height = opened(made).size
        assert max(width, height) == longest
        assert abs(width / height / (size[0] / size[1]) - 1) < 0.1


def test_a_small_one_is_not_blown_up(tmp_path: Path) -> None:
    photo = kept(tmp_path, jpeg((64, 48)))

    assert opened(photo.large).size == opened(photo.small).size == (64, 48)


@pytest.mark.parametrize(
    ("content", "colour"),
    [
        (picture("PNG"), (255, 0, 0)),
        (picture("WEBP"), (255, 0, 0)),
        (picture("PNG", "RGBA"), (255, 255, 255)),
        (picture("PNG", "P"), (255, 0, 0)),
        (picture("PNG", "L"), (200, 200, 200)),
        (picture("PNG", "I;16"), (156, 156, 156)),
        (picture("JPEG", "CMYK"), (255, 0, 0)),
    ],
)
def test_other_formats_and_channels_are_taken(
    tmp_path: Path, content: bytes, colour: tuple[int, int, int]
) -> None:
    found = opened(kept(tmp_path, content).large).getpixel((30, 30))

    assert isinstance(found, tuple)
    assert found == pytest.approx(colour, abs=4)


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"", "it is empty"),
        (b"<html>" + SCRIPT, "cannot be read as a picture"),
        (jpeg()[:300], "cannot be read as a picture"),
        (b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", "HEIC"),
        (png((30_000, 30_000)), "more than 60 million pixels|cannot be read"),
        (png((9_000, 9_000)), "more than 60 million pixels"),
        (b"\x89PNG\r\n\x1a\n" + b"\xff" * 100, "cannot be read as a picture"),
        (b"GIF89a" + b"\1" * 100, "cannot be read as a picture"),
        (b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n", "cannot be read as a picture"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "cannot be read as a picture"),
    ],
)
def test_what_is_no_photo_is_refused_in_words(tmp_path: Path, content: bytes, reason: str) -> None:
    with pytest.raises(RefusedError, match=reason):
        kept(tmp_path, content)


@pytest.mark.parametrize(
    "content",
    [
        jpeg() + b"PK\x03\x04" + SCRIPT,
        with_segments(jpeg(), [(0xFE, b"<html><body>" + SCRIPT)]),
        with_segments(jpeg(), [(0xE1, exif(1, SCRIPT * 9))]),
    ],
    ids=["archive behind", "page in the comment", "page in the EXIF"],
)
def test_of_a_file_that_is_two_things_only_the_pixels_are_left(
    tmp_path: Path, content: bytes
) -> None:
    for size in kept(tmp_path, content):
        assert b"script" not in size
        assert b"PK\x03\x04" not in size


def test_a_page_with_a_picture_behind_it_is_a_page(tmp_path: Path) -> None:
    with pytest.raises(RefusedError):
        kept(tmp_path, SCRIPT + jpeg())


def test_texts_in_a_png_are_left_behind(tmp_path: Path) -> None:
    chunks = {b"tEXt": b"Comment\0" + SCRIPT, b"eXIf": exif(1)[6:]}

    for size in kept(tmp_path, png((30, 30), chunks)):
        assert b"script" not in size


@pytest.mark.parametrize(
    "broken", [exif(9), exif(6)[:40], b"Exif\0\0II*\0\xff\xff\xff\xff", b"Exif\0\0MM\0*\0\0\0\x08"]
)
def test_exif_that_cannot_be_read_costs_no_photo(tmp_path: Path, broken: bytes) -> None:
    photo = kept(tmp_path, with_segments(jpeg(), [(0xE1, broken)]))

    assert markers(photo.large)[0] == 0xE0


def test_a_profile_that_cannot_be_read_costs_no_photo(tmp_path: Path) -> None:
    content = with_segments(jpeg(), [(0xE2, b"ICC_PROFILE\0\x01\x01" + b"\xff" * 300)])

    assert colour_of(opened(kept(tmp_path, content).large), 0.9, 0.9) == "red"


def test_memory_that_runs_out_is_no_verdict_on_the_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_room(_: object) -> Image.Image:
        raise MemoryError

    monkeypatch.setattr(prepare, "_upright", no_room)
    with pytest.raises(MemoryError):
        kept(tmp_path, jpeg())
