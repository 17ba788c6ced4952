"""Photos prepared in a child process, which ends with its one photo.

Decoders of pictures are large and have had holes. What a browser sends is opened in a process that
has little memory and time, and that can write no file; whatever becomes of it, the page goes on.
"""

import shutil
import sys
import threading
from base64 import b64decode
from collections.abc import Sequence
from contextlib import closing
from importlib.util import find_spec
from tempfile import NamedTemporaryFile
from typing import IO, NamedTuple

from sillward.child_process import ChildError, ChildProcess, Failure
from sillward.errors import PhotoError, one_line

COMMAND = (sys.executable, "-m", "sillward.page.photos")

MAX_UPLOAD_BYTES = 10_000_000
"""Of a photo as it comes."""

MAX_MEMORY_BYTES = 200_000_000
"""Address space of the child. Measured with Pillow 13: 25 MB without a photo; a JPEG of 12 million
pixels needs 80 MB, one of 50 million the same, or 190 if it is progressive."""

MAX_CPU_S = 15
"""Of the child. Measured: half a second for the largest; a small board takes ten times that."""

LIMIT_S = 30.0
"""Longest wait for a photo, the start of the child included [s]."""

WAIT_S = 2.0
"""Longest wait for the photos of others [s]: one is prepared at a time. Judgement: most are done by
then; who waits longer keeps a thread of the page, of which there are few, from all answers."""

MAX_REPLY_BYTES = 8_000_000
"""Judgement: both sizes of noise without any structure, twice over."""

NO_PILLOW = 3
"""Exit status of a child that cannot import Pillow."""

JPEG_BEGINS = b"\xff\xd8\xff"
"""Start of image and the marker after it (ITU-T T.81, annex B.1.1.3; from memory)."""

_one_at_a_time = threading.Lock()


class Photo(NamedTuple):
    """A photo as it is kept: two JPEG files."""

    large: bytes
    small: bytes


def is_offered() -> bool:
    """Whether photos can be taken: Pillow is installed."""
    return find_spec("PIL") is not None


def prepare(
    upload: IO[bytes],
    command: Sequence[str] = COMMAND,
    limit_s: float = LIMIT_S,
    max_memory_bytes: int = MAX_MEMORY_BYTES,
) -> Photo:
    """Return what was sent as a photo that can be kept. Raise PhotoError with the reason if not."""
    if not _one_at_a_time.acquire(timeout=WAIT_S):
        msg = "other photos are being worked on; send it again in a minute"
        raise PhotoError(msg)
    try:
        with NamedTemporaryFile(prefix="sillward-") as file:
            shutil.copyfileobj(upload, file)
            if file.tell() > MAX_UPLOAD_BYTES:
                msg = f"the photo is larger than {MAX_UPLOAD_BYTES // 1_000_000} MB"
                raise PhotoError(msg)
            file.flush()
            request = {"path": file.name, "memory": max_memory_bytes, "cpu_s": MAX_CPU_S}
            return _asked(request, command, limit_s)
    except OSError as error:
        msg = f"the photo cannot be taken: {error.strerror}"
        raise PhotoError(msg) from None
    finally:
        _one_at_a_time.release()


def _asked(request: dict[str, object], command: Sequence[str], limit_s: float) -> Photo:
    with closing(ChildProcess(command, limit_s, MAX_REPLY_BYTES)) as child:
        try:
            reply = child.ask(request)
        except ChildError as error:
            raise PhotoError(_reason(error)) from None
    if "refused" in reply:
        msg = f"the photo is not taken: {one_line(reply['refused'], 100)}"
        raise PhotoError(msg)
    photo = Photo(b64decode(reply["large"]), b64decode(reply["small"]))
    if not all(size.startswith(JPEG_BEGINS) for size in photo):
        msg = "the photo is not taken: the result is not a picture"
        raise PhotoError(msg)
    return photo


def _reason(error: ChildError) -> str:
    if error.status == NO_PILLOW:
        return "photos need Pillow: pip install '.[page]' in the checkout"
    if error.failure is Failure.TOO_LARGE:
        return "the photo is not taken: it came out too large"
    return "the photo is not taken: it needs too much memory or time; send it smaller"
