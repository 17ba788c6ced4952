"""Rewrites the golden files: `python -m tests.support.situations`."""

import logging

from tests.support.paths import GOLDEN
from tests.support.situations.golden import files, golden, path_of

logging.disable()  # what goes wrong in the situations is meant to
GOLDEN.mkdir(exist_ok=True)
for name in files():
    path_of(name).write_text(golden(name), encoding="utf-8")
