"""Who may open the page, as far as settings and collection say; needs none of its libraries."""

from sillward.assembly.app import App
from sillward.config.credentials import has_passphrase, passphrase_file, those_with_passphrase
from sillward.errors import ConfigError


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
    if not those_with_passphrase(folder, people):
        who = "nobody can sign in" if page.beyond_loopback else "open to whoever uses this machine"
        return f"at {page.address}, {who}: there is no passphrase"
    if not people:
        return f"at {page.address}, with a passphrase"
    names = [
        name if has_passphrase(folder, name) else f"{name} (no passphrase yet)" for name in people
    ]
    return f"at {page.address}, for {', '.join(names)}"
