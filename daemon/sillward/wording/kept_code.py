"""The compiled code of packaged templates, kept as Python keeps that of modules.

To compile the templates of a sheet takes a seventh of the time of `sillward sheet`. Their code goes
where Python would put it for a module at the same place, in `__pycache__` beside them, and is
trusted as that is: whoever can write there can change the modules of this package as well. Where
nothing can be written it is compiled each time. Templates of growers are never kept.
"""

import marshal
import os
import sys
from collections.abc import Callable, Iterable
from contextlib import suppress
from hashlib import sha256
from importlib.util import MAGIC_NUMBER, cache_from_source
from pathlib import Path
from types import CodeType

from sillward import files

_DIGEST = 32
"""Length of the digest that begins a file [bytes]."""

_MODE = 0o644
"""Others may read it, as they may the templates."""


def code_of(template: Path, makers: Iterable[str], compiled: Callable[[], CodeType]) -> CodeType:
    """Return the code of a template, from its file beside it if that is of the same making.

    makers: files of the modules that compile it. They count as changed by their time and size, as
        Python looks at sources; the template by its text.
    compiled: gives the code where none is kept.
    """
    try:
        made_of = _made_of(template, makers)
    except OSError:  # packed in an archive, say
        return compiled()
    kept = Path(cache_from_source(str(template)))
    with suppress(OSError, EOFError, ValueError, TypeError):
        data = kept.read_bytes()
        if data[:_DIGEST] == sha256(made_of + data[_DIGEST:]).digest():
            code = marshal.loads(data[_DIGEST:])
            if isinstance(code, CodeType):
                return code
    code = compiled()
    if not sys.dont_write_bytecode:
        body = marshal.dumps(code)
        with suppress(OSError):
            kept.parent.mkdir(exist_ok=True)
            files.write(kept, sha256(made_of + body).digest() + body, mode=_MODE)
    return code


def _made_of(template: Path, makers: Iterable[str]) -> bytes:
    """Return what the code depends on. Raise OSError."""
    found = [os.stat(file) for file in makers]
    stamps = [(status.st_mtime_ns, status.st_size) for status in found]
    return MAGIC_NUMBER + repr(stamps).encode() + template.read_bytes()
