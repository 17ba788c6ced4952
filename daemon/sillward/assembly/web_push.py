"""Who signs what is sent to phones by Web Push, from the settings."""

import logging
from importlib.util import find_spec
from urllib.parse import urlsplit

from sillward.assembly.app import App
from sillward.channels.push_identity import PushIdentity
from sillward.errors import ConfigError

log = logging.getLogger(__name__)


def push_identity(app: App) -> PushIdentity | None:
    """Return the identity; None unless the page is served by https, and the parts are installed.

    If there can be no key that is logged: the other channels are told all the same.
    """
    settings = app.settings
    parts = urlsplit(settings.page.link_base or "")
    if parts.scheme != "https" or app.pretending:
        return None
    if not all(map(find_spec, ("cryptography", "http_ece"))):
        return None
    try:
        # A push service may reject an address with a path or a port in it.
        return PushIdentity.kept_or_made(
            settings.credentials, settings.ledger, f"https://{parts.hostname}"
        )
    except ConfigError as error:
        log.warning("push.none reason=%s", error)
        return None
