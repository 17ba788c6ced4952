"""Where the page of each household is: at the top if there is but one, else below a path."""

import hashlib
import re
import unicodedata
from collections import Counter
from collections.abc import Sequence

RESERVED = frozenset({"assets", "t"})
"""What is at the top beside the households."""

MAX_LENGTH = 40
"""Characters of a path. Judgement."""


def site_paths(names: Sequence[str]) -> dict[str, str]:
    """Return the path of each site by its name: "" for a single one, else such as "/courtyard"."""
    if len(names) == 1:
        return {names[0]: ""}
    words = {name: _word(name) for name in names}
    counts = Counter([*words.values(), *RESERVED, ""])
    return {
        name: f"/{word}" if counts[word] == 1 else f"/{_own(name, word)}"
        for name, word in words.items()
    }


def _word(name: str) -> str:
    """Return a name in small letters and digits of ASCII, with - between; perhaps nothing."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:MAX_LENGTH].rstrip("-")


def _own(name: str, word: str) -> str:
    """Return a word that no other name has."""
    digits = hashlib.sha256(name.encode()).hexdigest()[:8]
    return f"{word}-{digits}" if word else digits
