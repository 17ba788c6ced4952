"""Where photos are kept: by their random names alone, both sizes or neither."""

import errno
import os
import shutil
import stat
from contextlib import nullcontext
from pathlib import Path
from types import SimpleNamespace

import pytest

from sillward import files
from sillward.errors import NotOursError, PhotoError
from sillward.page.photos.folder import MIN_FREE_BYTES, PhotoFolder
from sillward.page.photos.process import JPEG_BEGINS, Photo

PHOTO = Photo(JPEG_BEGINS + b" large", JPEG_BEGINS + b" small")


@pytest.fixture
def photos(tmp_path: Path) -> PhotoFolder:
    return PhotoFolder.beside(tmp_path / "ledger.sqlite3")


def content(photos: PhotoFolder) -> dict[str, bytes]:
    assert photos.folder is not None
    return {file.name: file.read_bytes() for file in photos.folder.iterdir()}


def test_a_photo_is_kept_for_its_owner_alone(photos: PhotoFolder) -> None:
    name = photos.keep(PHOTO)

    assert photos.is_there(name)
    assert photos.read(name, small=False) == PHOTO.large
    assert photos.read(name, small=True) == PHOTO.small
    assert photos.folder is not None
    assert photos.folder.name == "ledger.sqlite3.photos"
    assert stat.S_IMODE(photos.folder.stat().st_mode) == 0o700
    assert {stat.S_IMODE(file.stat().st_mode) for file in photos.folder.iterdir()} == {0o600}


def test_each_has_a_name_of_its_own(photos: PhotoFolder) -> None:
    assert len({photos.keep(PHOTO) for _ in range(5)}) == 5
    assert len(content(photos)) == 10


def test_it_is_removed_with_both_sizes_and_nothing_else(photos: PhotoFolder) -> None:
    first, second = photos.keep(PHOTO), photos.keep(PHOTO)
    assert photos.folder is not None
    (photos.folder / "mine.txt").write_text("mine")
    photos.remove(first)
    photos.remove(first)

    assert set(content(photos)) == {f"{second}.jpg", f"{second}-small.jpg", "mine.txt"}
    assert not photos.is_there(first)
    assert photos.read(first, small=True) is None


@pytest.mark.parametrize(
    "name", ["", "..", "../ledger.sqlite3", "a" * 31, "A" * 32, "a" * 32 + "\n", "/etc/passwd"]
)
def test_only_a_name_of_ours_leads_to_a_file(photos: PhotoFolder, name: str) -> None:
    photos.keep(PHOTO)

    assert photos.read(name, small=False) is None
    assert not photos.is_there(name)
    with pytest.raises(PhotoError, match="no such photo"):
        photos.remove(name)


def test_what_took_the_place_of_a_photo_is_neither_shown_nor_removed(
    photos: PhotoFolder, tmp_path: Path
) -> None:
    name = photos.keep(PHOTO)
    assert photos.folder is not None
    secret = tmp_path / "secret.jpg"
    secret.write_bytes(JPEG_BEGINS + b" secret")
    (photos.folder / f"{name}.jpg").unlink()
    (photos.folder / f"{name}.jpg").symlink_to(secret)

    assert photos.read(name, small=False) is None
    assert not photos.is_there(name)
    with pytest.raises(NotOursError):
        photos.remove(name)
    assert secret.exists()


def test_a_photo_that_is_broken_is_not_shown(photos: PhotoFolder) -> None:
    name = photos.keep(PHOTO)
    assert photos.folder is not None
    (photos.folder / f"{name}.jpg").write_bytes(b"<html>")

    assert photos.read(name, small=False) is None
    assert not photos.is_there(name)


@pytest.mark.parametrize("fails_at", [0, 1])
def test_a_full_disk_keeps_neither_size_and_says_so(
    photos: PhotoFolder, monkeypatch: pytest.MonkeyPatch, fails_at: int
) -> None:
    before = photos.keep(PHOTO)
    written = list[Path]()
    write = files.write

    def full(path: Path, data: bytes, *, exclusive: bool) -> None:
        if len(written) == fails_at:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        written.append(path)
        write(path, data, exclusive=exclusive)

    monkeypatch.setattr(files, "write", full)
    with pytest.raises(PhotoError, match="cannot be kept: No space left"):
        photos.keep(PHOTO)
    assert set(content(photos)) == {f"{before}.jpg", f"{before}-small.jpg"}


@pytest.mark.parametrize(("free", "enough"), [(MIN_FREE_BYTES, True), (MIN_FREE_BYTES - 1, False)])
def test_photos_leave_room_for_the_ledger(
    photos: PhotoFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, free: int, enough: bool
) -> None:
    asked = list[Path]()

    def usage(path: Path) -> SimpleNamespace:
        asked.append(path)
        return SimpleNamespace(free=free)

    monkeypatch.setattr(shutil, "disk_usage", usage)
    refused = pytest.raises(PhotoError, match="less than 200 MB are free on the disk")
    with nullcontext() if enough else refused:
        photos.require_room()
    assert asked == [tmp_path]


def test_a_disk_that_is_gone_is_told(tmp_path: Path) -> None:
    with pytest.raises(PhotoError, match="cannot be kept: No such file"):
        PhotoFolder.beside(tmp_path / "gone" / "ledger.sqlite3").require_room()


def test_a_file_in_the_place_of_the_folder_is_left_alone(photos: PhotoFolder) -> None:
    assert photos.folder is not None
    photos.folder.write_text("mine")

    with pytest.raises(PhotoError, match="cannot be kept"):
        photos.keep(PHOTO)
    assert photos.folder.read_text() == "mine"


def test_it_lies_beside_the_ledger_that_a_link_leads_to(tmp_path: Path) -> None:
    (tmp_path / "disk").mkdir()
    ledger = tmp_path / "disk" / "ledger.sqlite3"
    ledger.touch()
    link = tmp_path / "link.sqlite3"
    link.symlink_to(ledger)

    assert PhotoFolder.beside(link) == PhotoFolder.beside(ledger)


def test_without_a_folder_none_can_be_taken() -> None:
    photos = PhotoFolder(None)

    assert not photos.is_offered
    with pytest.raises(PhotoError):
        photos.keep(PHOTO)
    assert photos.read("a" * 32, small=True) is None
