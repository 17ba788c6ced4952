"""How long a message may be: decided here, for its wording and for its sending alike.

There are two bounds. A push is read at a glance, so its title and body together are bounded in
*characters*: the wording asks for that. A service refuses what it does not transport, in *bytes*:
the sending asks for that, and it matters where a channel is told in full, or where a service takes
less than a push of ours. A mail has neither bound.
"""

from sillward.text import printable

MAX_CHARACTERS = 300
"""Of a push: title, the end of its line, and body; some phones cut near 500."""

MAX_TITLE_CHARACTERS = MAX_CHARACTERS // 2
"""A grower's wording may make a longer title than ours; the rest is for the lines. Judgement: ours
have at most a hundred."""

MAX_BYTES = 3_500
"""Title and body for any service: some take 4 KiB of body (ntfy), or that with its wrapping
(APNs)."""

MAX_TITLE_BYTES = 200
"""Title for any service; the usual ones take 250 characters. Judgement."""


def cut_title(title: str) -> str:
    """Return the title of a push, cut where it is too long."""
    return printable.cut(title, MAX_TITLE_CHARACTERS)


def room_for_body(title: str) -> int:
    """Return how many characters of body a push with this title may have."""
    return MAX_CHARACTERS - len(title) - len("\n")


def fits(title: str, body: str) -> bool:
    """Whether a push may be this long."""
    return len(body) <= room_for_body(title)


def within_bytes(title: str, body: str, service_bytes: int) -> tuple[str, str]:
    """Return title and body as long as a service takes them, cut by whole lines, which are counted.

    service_bytes: what this service takes of a body.
    """
    title = _cut_bytes(title, MAX_TITLE_BYTES)
    room = min(MAX_BYTES, service_bytes) - _bytes(title) - len("\r\n")
    if _bytes(body) <= room:
        return title, body
    lines = body.split("\n")
    kept = len(lines)
    while kept > 1 and _bytes(_with_rest(lines, kept)) > room:
        kept -= 1
    if _bytes(_with_rest(lines, kept)) > room:
        rest = _with_rest(["", *lines[1:]], 1)
        lines[0] = _cut_bytes(lines[0], max(1, room - _bytes(rest)))
    return title, _with_rest(lines, kept)


def _with_rest(lines: list[str], kept: int) -> str:
    """The first lines, and how many are left out."""
    rest = len(lines) - kept
    if not rest:
        return "\n".join(lines)
    word = "line" if rest == 1 else "lines"
    return "\n".join([*lines[:kept], f"+{rest} {word}: `sillward sheet`"])


def _cut_bytes(text: str, max_bytes: int) -> str:
    """The text in at most this many bytes, with a mark where something is missing."""
    if _bytes(text) <= max_bytes:
        return text
    return text.encode()[: max_bytes - len("…".encode())].decode(errors="ignore") + "…"


def _bytes(text: str) -> int:
    return len(text.encode())
