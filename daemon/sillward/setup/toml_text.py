"""Values and lines of TOML as a person would write them. This module is pure."""

import json
import re


def quoted(text: str) -> str:
    """Return a TOML basic string: as in JSON, but with DEL escaped too."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def key_text(name: str) -> str:
    """Return a key, in quotes where it needs them."""
    return name if re.fullmatch("[A-Za-z0-9_-]+", name) else quoted(name)


def number_text(value: float, digits: int = 1) -> str:
    """Return a number with at most so many decimal places."""
    shown = f"{value:.{digits}f}"
    return shown.rstrip("0").rstrip(".") if "." in shown else shown


def aligned(*pairs: tuple[str, str]) -> str:
    """Return lines of TOML with their comments aligned."""
    width = max((len(line) for line, comment in pairs if comment), default=0)
    return "\n".join(
        f"{line:<{width}}  # {comment}" if comment else line for line, comment in pairs
    )
