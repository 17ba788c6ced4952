"""Who may open the page, as far as settings and collection say; needs none of its libraries."""

from collections.abc import Sequence

from sillward.assembly.app import App
from sillward.config.credentials import has_passphrase, passphrase_file, those_with_passphrase
from sillward.config.households import is_name
from sillward.config.settings import Settings
from sillward.errors import ConfigError

ASSETS = "assets"
"""The path of the page's own files, which so can be that of no household."""


def why_none(name: str, settings: Settings, people: Sequence[str]) -> str | None:
    """Return why a household of a folder has no page; None if it has one.

    settings: its own.
    """
    if not is_name(name) or name == ASSETS:
        return "no page can have its name"
    is_open = settings.page.beyond_loopback
    if is_open and not those_with_passphrase(settings.credentials, people):
        return "there is no passphrase"
    return None


def require_passphrase(app: App) -> None:
    """Raise ConfigError if others could reach the page of a household, and no passphrase keeps them
    out."""
    page, people = app.settings.page, app.household.people
    if not page.beyond_loopback or those_with_passphrase(app.settings.credentials, people):
        return
    call = f"sillward passphrase {people[0]}" if people else "sillward passphrase"
    msg = (
        f"{app.path.name}: the page can be reached from other machines, and there is no passphrase:"
        f" `{call}` sets one (credential {passphrase_file(people[0] if people else None)})"
    )
    raise ConfigError([msg])


def standing(app: App) -> str | None:
    """Return in words where the page is served and who may open it; None if it is not served."""
    page, people, folder = app.settings.page, app.household.people, app.settings.credentials
    if page.address is None:
        return None
    at = f"{page.address}{app.page_path}"
    why = None if app.place is None else why_none(app.place.name, app.settings, people)
    if why is not None:
        return f"none for this household: {why}"
    if not those_with_passphrase(folder, people):
        who = "nobody can sign in" if page.beyond_loopback else "open to whoever uses this machine"
        return f"at {at}, {who}: there is no passphrase"
    if not people:
        return f"at {at}, with a passphrase"
    names = [
        name if has_passphrase(folder, name) else f"{name} (no passphrase yet)" for name in people
    ]
    return f"at {at}, for {', '.join(names)}"
