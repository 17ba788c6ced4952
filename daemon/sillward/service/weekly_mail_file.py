"""The mail of a week round as one HTML file, for `sillward digest`."""

from base64 import b64encode
from html import escape

from sillward.wording.push import Message

MADE_BY = "<!-- made by sillward -->\n"
"""The beginning of such a file: only a file that begins like this is written over."""

HEAD_BYTES = len(MADE_BY)


def is_ours(head: bytes) -> bool:
    """Return whether a file that begins with these bytes was written by sillward."""
    return head.startswith(MADE_BY.encode())


def page_for_file(mail: Message) -> str:
    """Return the page of a mail with its pictures in it; its text, if it has no page."""
    if mail.html is None:
        text = f"{escape(mail.title)}\n\n{escape(mail.body)}"
        return f"{MADE_BY}<!doctype html><meta charset=utf-8><pre>{text}"
    page = MADE_BY + mail.html
    for name, image in mail.images:
        page = page.replace(f"cid:{name}", f"data:image/png;base64,{b64encode(image).decode()}")
    return page
