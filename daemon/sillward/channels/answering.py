"""How a channel's service lets a message be answered, as far as Apprise passes it on.

Apprise takes what a service can do beside text as parameters of its URL. Of those that all plugins
list, two kinds are of use here: a list of buttons, which ntfy has, and one address that is opened
from the message, which others have by different names. Where there is neither, the address is the
last line of the text. What the grower's own URL sets is left as it is.
"""

import json
import re
from collections.abc import Mapping
from enum import Enum
from typing import Any
from urllib.parse import quote

from sillward.wording.message_length import MAX_CHARACTERS, MAX_LINK_CHARACTERS
from sillward.wording.push import Links


class Way(Enum):
    """How a message can be answered."""

    BUTTONS = "buttons"
    """Buttons below the message, one of which answers at once."""
    ADDRESS = "a link to tap"
    """The message, or a place beside it, opens a page."""
    LINE = "a link as its last line"
    IF_ROOM = "a link as its last line, where a message leaves room"
    """The service takes short messages only, and no word is cut for a link."""
    MAIL = "links below the text"


_ADDRESSES = ("click", "url")
"""Parameters that hold an address to open: click (ntfy, Bark and others), url (Pushover and
others)."""

_ADDRESS_FIELDS = frozenset(
    {"click", "url", "link", "click_url", "supplemental_url", "supplementary_url"}
)
"""The names by which plugins keep such an address. Others call the address of a server or a picture
"url"."""

MAX_BUTTONS = 3
"""Of a message to ntfy (its manual, "Action buttons")."""


def way_of(service: Any, url: str) -> Way:
    """Return how messages to this plugin can be answered. url: from which it was made."""
    parameters = _parameters(service)
    if _has_buttons(service) and not _sets(url, "actions"):
        return Way.BUTTONS
    if _address_parameter(parameters, url):
        return Way.ADDRESS
    has_room = service.body_maxlen >= MAX_CHARACTERS + MAX_LINK_CHARACTERS
    return Way.LINE if has_room else Way.IF_ROOM


def query_for(service: Any, url: str, links: Links) -> str:
    """Return what to add to the URL of a plugin, so that its messages carry links; empty for
    nothing."""
    way = way_of(service, url)
    if way is Way.BUTTONS:
        return f"actions={quote(_ntfy_actions(links), safe='')}"
    if way is Way.ADDRESS:
        name = _address_parameter(_parameters(service), url)
        return f"{name}={quote(links.address, safe='')}"
    return ""


def _parameters(service: Any) -> Mapping[str, Any]:
    given: Mapping[str, Any] = getattr(service, "template_args", {})
    return given


def _has_buttons(service: Any) -> bool:
    """Whether a plugin takes buttons in the form of ntfy, the only one that there is."""
    return bool(getattr(service, "service_name", None) == "ntfy") and "actions" in _parameters(
        service
    )


def _address_parameter(parameters: Mapping[str, Any], url: str) -> str | None:
    for name in _ADDRESSES:
        of_plugin = parameters.get(name, {})
        if of_plugin.get("map_to", name) in _ADDRESS_FIELDS and of_plugin.get("type") == "string":
            return None if _sets(url, name) else name
    return None


def _sets(url: str, name: str) -> bool:
    """Whether the grower's URL has a parameter already."""
    return re.search(rf"[?&]{name}=", url, re.IGNORECASE) is not None


def _ntfy_actions(links: Links) -> str:
    """Return buttons as ntfy takes them in a header: JSON of ASCII characters.

    A button that acts has the phone post to its address; the message goes away if that succeeds.
    """
    return json.dumps(
        [
            {"action": "http", "label": button.text, "url": button.address}
            | {"method": "POST", "clear": True}
            if button.acts
            else {"action": "view", "label": button.text, "url": button.address}
            for button in links.buttons[:MAX_BUTTONS]
        ]
    )
