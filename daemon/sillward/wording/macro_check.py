"""Whether a line in the grower's own wording may take the place of the packaged one."""

import re
from collections.abc import Iterator, Mapping
from typing import Any

REQUIRED_FACTS = (
    "title", "heads", "text", "what", "who", "ways", "walks", "when", "by", "later_by", "spot",
    "spots", "to", "count", "later", "address",
)  # fmt: skip
"""Facts by which a grower acts: a wording may rephrase them, and must not leave them out."""


def max_length(ours: str) -> int:
    """Return how many characters the grower's line may have in place of the packaged one.

    Judgement: what is more than twice as long has no room in a push.
    """
    return 2 * len(ours) + 20


def fault_in(own: str, ours: str, facts: Mapping[str, Any]) -> str | None:
    """Return what is wrong with the grower's line, or None if nothing is.

    own, ours: the grower's line and the packaged one for the same facts.
    """
    if ours and not own:
        return f'says nothing where ours says "{ours}"'
    if len(own) > max_length(ours):
        return f"says {len(own)} characters where ours says {len(ours)}"
    our_text, own_text = ours.casefold(), own.casefold()
    for name in REQUIRED_FACTS:
        for piece in _pieces(facts.get(name)):
            if _contains(our_text, piece) and not _contains(own_text, piece):
                return f'leaves out {name}, here "{piece}"'
    return None


def _pieces(fact: Any) -> Iterator[str]:
    """Yield the texts in a fact and the numbers above one, since "1" may be said in a word."""
    if isinstance(fact, str):
        yield from (fact.casefold(),) if fact else ()
    elif isinstance(fact, list | tuple):
        for item in fact:
            yield from _pieces(item)
    elif isinstance(fact, int) and not isinstance(fact, bool) and fact > 1:
        yield str(fact)


def _contains(text: str, piece: str) -> bool:
    return bool(re.search(rf"(?<!\w){re.escape(piece)}(?!\w)", text))


def error_line(error: Exception) -> str:
    """Return what went wrong in a macro as one line of at most 200 characters."""
    return " ".join(f"{type(error).__name__}: {error}".split())[:200]
