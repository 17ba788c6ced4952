"""The process that prepares photos: answers `photos.process` with JPEG files."""

import resource
import sys
from base64 import b64encode
from pathlib import Path
from typing import Any

from sillward.child_process import serve
from sillward.page.photos.process import NO_PILLOW

try:
    from sillward.page.photos.prepare import RefusedError, prepared
except ImportError as error:
    sys.stderr.write(f"{error}\n")
    sys.exit(NO_PILLOW)


def answer(request: dict[str, Any]) -> dict[str, str]:
    """Prepare a photo within its bounds, and return the reply."""
    _bind(request["memory"], request["cpu_s"])
    try:
        photo = prepared(Path(request["path"]))
    except RefusedError as error:
        return {"refused": str(error)}
    except MemoryError:
        return {"refused": "it has more pixels than there is room for; send it smaller"}
    return {"large": b64encode(photo.large).decode(), "small": b64encode(photo.small).decode()}


def _bind(memory_bytes: int, cpu_s: int) -> None:
    """Take away from this process what it does not need: memory, time, and all writing of files."""
    for kind, most in (
        (resource.RLIMIT_AS, memory_bytes),
        (resource.RLIMIT_CPU, cpu_s),
        (resource.RLIMIT_FSIZE, 0),
        (resource.RLIMIT_CORE, 0),
    ):
        allowed = resource.getrlimit(kind)[1]
        bound = most if allowed == resource.RLIM_INFINITY else min(most, allowed)
        resource.setrlimit(kind, (bound, bound))


if __name__ == "__main__":
    serve(answer)
