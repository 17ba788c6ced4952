"""Who signs what is sent to phones by Web Push, from the settings."""

import logging
from importlib.util import find_spec
from urllib.parse import urlsplit

from sillward.assembly.app import App
from sillward.channels.push_identity import PushIdentity
from sillward.errors import ConfigError

log = logging.getLogger(__name__)


def push_identity(app: App) -> PushIdentity | None:
    """Return the identity; None unless the page is called by https, and the parts are installed.

    If there can be no key that is logged: the other channels are told all the same.
    """
    settings, host = app.settings, _host(app)
    if host is None or app.pretending or not _has_parts():
        return None
    try:
        # A push service may reject an address with a path or a port in it.
        subject = f"https://{host}"
        return PushIdentity.kept_or_made(settings.credentials, app.kept_beside, subject)
    except ConfigError as error:
        log.warning("push.none reason=%s", error)
        return None


def standing(app: App) -> str | None:
    """Return in words whether the page tells phones; None where it cannot, without https."""
    if _host(app) is None:
        return None
    if _has_parts():
        return "the page can tell them by itself"
    return "the page tells none by itself: `pip install '.[page,webpush]'` in a checkout"


def _host(app: App) -> str | None:
    """Return what the page is called by; None if that is not by https."""
    parts = urlsplit(app.settings.page.link_base or "")
    return parts.hostname if parts.scheme == "https" else None


def _has_parts() -> bool:
    return all(map(find_spec, ("cryptography", "http_ece")))
