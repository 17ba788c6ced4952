"""The process that prepares photos: bounded, and whatever becomes of it there is an answer."""

import sys
from io import BytesIO
from pathlib import Path

import pytest

from sillward.errors import PhotoError
from sillward.page.photos import process
from sillward.page.photos.process import JPEG_BEGINS, MAX_UPLOAD_BYTES, Photo, prepare
from tests.support.photos import jpeg, png, told_everything


def scripted(text: str) -> tuple[str, ...]:
    """The command of a child that runs this code instead."""
    return sys.executable, "-c", text


@pytest.fixture
def _no_pillow(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fake = tmp_path / "fake" / "PIL"
    fake.mkdir(parents=True)
    (fake / "__init__.py").write_text("raise ImportError('none here')\n")
    monkeypatch.setenv("PYTHONPATH", str(fake.parent))


def test_a_photo_comes_through_the_child() -> None:
    photo = prepare(BytesIO(told_everything()))

    assert all(size.startswith(JPEG_BEGINS) and b"script" not in size for size in photo)


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"<html>", "the photo is not taken: it cannot be read as a picture"),
        (png((60_000, 60_000)), "the photo is not taken: it"),
        (jpeg() + b"\0" * MAX_UPLOAD_BYTES, "the photo is larger than 10 MB"),
    ],
    ids=["page", "bomb", "too large"],
)
def test_what_is_no_photo_is_refused(content: bytes, reason: str) -> None:
    with pytest.raises(PhotoError, match=reason):
        prepare(BytesIO(content))


def test_the_largest_that_is_taken() -> None:
    content = jpeg()
    assert prepare(BytesIO(content + b"\0" * (MAX_UPLOAD_BYTES - len(content)))).small


def test_a_picture_that_needs_more_memory_than_there_is_does_no_harm() -> None:
    bomb = png((7_000, 7_000))  # 49 million pixels: within the bound, but 150 MB as colours

    with pytest.raises(PhotoError, match=r"there is room for|too much memory"):
        prepare(BytesIO(bomb), max_memory_bytes=60_000_000)


@pytest.mark.parametrize(
    ("does", "reason"),
    [
        ("import os; os.abort()", "too much memory or time"),
        ("raise ValueError", "too much memory or time"),
        ("print('no reply')", "too much memory or time"),
        ("print('x' * 9_000_000)", "came out too large"),
        ('print(\'{"large": "PGh0bWw+", "small": "PGh0bWw+"}\')', "is not a picture"),
        ('print(\'{"refused": "a\\\\u001b[31m\\\\nb"}\')', r"not taken: a \[31m b$"),
    ],
)
def test_a_child_that_fails_is_told_in_a_line(does: str, reason: str) -> None:
    with pytest.raises(PhotoError, match=reason):
        prepare(BytesIO(jpeg()), scripted(does))


def test_a_child_that_hangs_is_ended() -> None:
    with pytest.raises(PhotoError, match="too much memory or time"):
        prepare(BytesIO(jpeg()), scripted("import time; time.sleep(600)"), limit_s=0.2)


def test_the_child_writes_no_file(tmp_path: Path) -> None:
    target = tmp_path / "written"
    does = (
        "from sillward.page.photos.__main__ import _bind; _bind(10**9, 5);"
        f"import signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN);"
        f"open({str(target)!r}, 'w').write('x')"
    )
    with pytest.raises(PhotoError):
        prepare(BytesIO(jpeg()), scripted(does))
    assert not target.exists() or target.stat().st_size == 0


@pytest.mark.usefixtures("_no_pillow")
def test_without_pillow_it_says_how_to_get_it() -> None:
    with pytest.raises(PhotoError, match=r"pip install '\.\[page\]'"):
        prepare(BytesIO(jpeg()))


def test_a_disk_without_room_for_the_upload_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(process, "NamedTemporaryFile", full)
    with pytest.raises(PhotoError, match="No space left on device"):
        prepare(BytesIO(jpeg()))


def test_photos_wait_for_one_another_but_not_for_long(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever waits keeps one of the few threads of the page."""
    assert process.WAIT_S <= 2.0
    monkeypatch.setattr(process, "WAIT_S", 0.0)
    with process._one_at_a_time, pytest.raises(PhotoError, match="in a minute"):
        prepare(BytesIO(jpeg()))
    assert isinstance(prepare(BytesIO(jpeg())), Photo)
