"""How long a message may be, for its wording and for its sending alike.

There are two bounds. A push is read at a glance, so the wording bounds title and body together in
*characters*. A service refuses what it does not transport, so the sending bounds them in *bytes*:
that matters where a channel is told in full, or where a service takes less than a push has. A mail
has neither bound.
"""

from sillward.text import printable

MAX_CHARACTERS = 300
"""Characters of a push: title, line break and body. Some phones cut near 500."""

MAX_TITLE_CHARACTERS = MAX_CHARACTERS // 2
"""Characters of a title; the rest is for the lines. Judgement: packaged titles have at most a
hundred, a grower's wording may make longer ones."""

MAX_LINK_CHARACTERS = 180
"""Characters of a line with a link, at the end of a push that has no buttons. They come on top:
nobody reads an address. With them a push still has less than 500."""

MAX_MESSAGE_BYTES = 3_500
"""Bytes of title and body for any service: some take 4 KiB of body (ntfy), or with its envelope
(APNs)."""

MAX_TITLE_BYTES = 200
"""Bytes of a title for any service. Judgement: the usual services take 250 characters."""


def cut_title(title: str) -> str:
    """Return the title of a push, cut where it is too long."""
    return printable.cut(title, MAX_TITLE_CHARACTERS)


def room_for_body(title: str) -> int:
    """Return how many characters of body a push with this title may have."""
    return MAX_CHARACTERS - len(title) - len("\n")


def fits(title: str, body: str) -> bool:
    """Whether a push may be this long."""
    return len(body) <= room_for_body(title)


def with_line(body: str, title: str, line: str, service_bytes: int) -> str:
    """Return the body of a push with a link as its last line, if nothing is cut for that."""
    longer = f"{body}\n{line}"
    has_room = len(line) <= MAX_LINK_CHARACTERS
    whole = within_bytes(title, longer, service_bytes)[1] == longer
    return longer if has_room and whole else body


def within_bytes(
    title: str, body: str, service_bytes: int, *, linked: bool = False
) -> tuple[str, str]:
    """Return title and body as long as a service takes them, with a count of the lines cut.

    service_bytes: how much body this service takes. linked: whether the message has a link, so that
    the rest is looked up on the page.
    """
    where = "see the page" if linked else "`sillward sheet`"
    title = _cut_bytes(title, MAX_TITLE_BYTES)
    room = min(MAX_MESSAGE_BYTES, service_bytes) - _bytes(title) - len("\r\n")
    if _bytes(body) <= room:
        return title, body
    lines = body.split("\n")
    kept = len(lines)
    while kept > 1 and _bytes(_with_rest(lines, kept, where)) > room:
        kept -= 1
    if _bytes(_with_rest(lines, kept, where)) > room:
        rest = _with_rest(["", *lines[1:]], 1, where)
        lines[0] = _cut_bytes(lines[0], max(1, room - _bytes(rest)))
    return title, _with_rest(lines, kept, where)


def _with_rest(lines: list[str], kept: int, where: str) -> str:
    """Return the first lines, and how many are left out and where these are."""
    rest = len(lines) - kept
    if not rest:
        return "\n".join(lines)
    word = "line" if rest == 1 else "lines"
    return "\n".join([*lines[:kept], f"+{rest} {word}: {where}"])


def _cut_bytes(text: str, max_bytes: int) -> str:
    """Return the text in at most this many bytes, with an ellipsis if something is missing."""
    if _bytes(text) <= max_bytes:
        return text
    return text.encode()[: max_bytes - len("…".encode())].decode(errors="ignore") + "…"


def _bytes(text: str) -> int:
    return len(text.encode())
