"""What is wrong with a collection, as tests read it."""

import re
from collections.abc import Iterable


def without_line_numbers(lines: Iterable[str]) -> list[str]:
    """The errors of a file, "yard.toml:14: ...", without the number of the line."""
    return [re.sub(r"^([^:]+):\d+: ", r"\1: ", line) for line in lines]
