"""The folder of the photos, beside the ledger: `ledger.sqlite3.photos`.

Each photo has a random name, which an entry of the diary knows. Nothing else leads to a file: no
address and no form names one. What is in the folder besides is left alone.
"""

import re
import secrets
import shutil
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from sillward import files
from sillward.errors import NotOursError, PhotoError
from sillward.page.photos.process import JPEG_BEGINS, MAX_REPLY_BYTES, Photo, is_offered

NAME_BYTES = 16
"""Of a photo's random name: nobody guesses one of 128 bits."""

MIN_FREE_BYTES = 200_000_000
"""Room that photos leave on their disk, which is that of the ledger. Judgement: they are all that
grows without an end, by half a megabyte each; so much is enough for some years of the ledger, its
copies and the system's own files, and to be seen to in time."""

_NAME = re.compile(rf"[0-9a-f]{{{2 * NAME_BYTES}}}", re.ASCII)


@dataclass(frozen=True, slots=True)
class PhotoFolder:
    """Keeps photos in a folder. None: there is none, and no photo can be taken."""

    folder: Path | None

    @classmethod
    def beside(cls, ledger: Path) -> "PhotoFolder":
        """Return the folder that belongs to a ledger. Raise NotOursError for a dangling link."""
        file = files.follow_links(ledger)
        return cls(file.with_name(f"{file.name}.photos"))

    @property
    def is_offered(self) -> bool:
        """Whether photos can be taken."""
        return self.folder is not None and is_offered()

    def require_room(self) -> None:
        """Raise PhotoError if the disk is too full for photos."""
        if self.folder is None:
            return
        try:
            free = shutil.disk_usage(self.folder.parent).free
        except OSError as error:
            msg = f"the photo cannot be kept: {error.strerror}"
            raise PhotoError(msg) from None
        if free < MIN_FREE_BYTES:
            room = files.size_in_words(MIN_FREE_BYTES)
            msg = f"no photo is taken: less than {room} are free on the disk of the ledger"
            raise PhotoError(msg)

    def keep(self, photo: Photo) -> str:
        """Write a photo, both of its sizes or neither; return its name. Raise PhotoError."""
        name = secrets.token_hex(NAME_BYTES)
        large, small = self._files(name)
        try:
            files.make_folder(large.parent)
            files.write(small, photo.small, exclusive=True)
            files.write(large, photo.large, exclusive=True)
        except OSError as error:
            with suppress(OSError, NotOursError):
                self.remove(name)
            msg = f"the photo cannot be kept: {error.strerror}"
            raise PhotoError(msg) from None
        return name

    def read(self, name: str, *, small: bool) -> bytes | None:
        """Return a photo; None if its file is missing, not ours, or no picture any more."""
        try:
            found = files.read_own(self._files(name)[small], MAX_REPLY_BYTES)
        except (OSError, NotOursError, PhotoError):
            return None
        if found is None or not found[0].startswith(JPEG_BEGINS):
            return None
        return found[0]

    def is_there(self, name: str) -> bool:
        """Whether both sizes of a photo can be read, by their first bytes."""
        try:
            found = [files.read_own(file, len(JPEG_BEGINS)) for file in self._files(name)]
        except (OSError, NotOursError, PhotoError):
            return False
        return all(each is not None and each[0] == JPEG_BEGINS for each in found)

    def remove(self, name: str) -> None:
        """Delete a photo, if it is there. Raise OSError, NotOursError; PhotoError for no name."""
        for file in self._files(name):
            if files.stat_own(file) is not None:
                file.unlink()

    def _files(self, name: str) -> tuple[Path, Path]:
        """Return the files of the large and the small size. Raise PhotoError for what is no name:
        a ledger may have been written by anybody."""
        if self.folder is None or not _NAME.fullmatch(name):
            msg = "there is no such photo"
            raise PhotoError(msg)
        return self.folder / f"{name}.jpg", self.folder / f"{name}-small.jpg"


NOWHERE = PhotoFolder(None)
"""Keeps no photos."""
