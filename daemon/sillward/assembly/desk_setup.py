"""Desks, built from the settings, and the checks of what they need: channels and places."""

import logging
from collections.abc import Callable, Sequence
from importlib.util import find_spec

from sillward.assembly import read_only
from sillward.assembly.app import App
from sillward.assembly.page_access import why_none
from sillward.assembly.web_push import push_identity
from sillward.channels import apprise_sender, sending
from sillward.channels.sender import Problems, Sender
from sillward.config.channel import Channel
from sillward.config.credentials import read_credential
from sillward.config.settings import heartbeat_addresses
from sillward.errors import ConfigError
from sillward.ledger import Ledger
from sillward.ledger.ledger_file import IN_MEMORY
from sillward.ledger.ownership import refuse_place
from sillward.links.key_file import page_key
from sillward.links.page_links import PageLinks
from sillward.links.site_paths import site_paths
from sillward.service.context import ServiceContext
from sillward.service.desk import Desk
from sillward.service.run_control import RunControl

log = logging.getLogger(__name__)


def require_channels(app: App, problems: Problems = apprise_sender.problems) -> None:
    """Raise ConfigError unless there is a channel and each one's URL can be used."""
    if not app.household.channels:
        msg = f"{app.path.name}: channels: there are none, so nobody would be told"
        raise ConfigError([msg])
    apprise_sender.check_channels(app.household.channels, app.path.name, problems)


def require_places(app: App, problems: Problems = apprise_sender.problems) -> None:
    """Raise ConfigError unless the ledger, the credentials folder and all addresses can be used."""
    settings, lines = app.settings, list[str]()
    if settings.credentials is not None and not settings.credentials.is_dir():
        lines.append(f"SILLWARD_CREDENTIALS: {settings.credentials}: there is no such folder")
    checks: list[Callable[[], object]] = [
        lambda: refuse_place(settings.ledger_file),
        lambda: heartbeat_addresses(settings),
    ]
    for check in checks:
        try:
            check()
        except ConfigError as error:
            lines += error.lines
    url = settings.last_word or read_credential(settings.credentials, "last-word")
    if url is not None:
        last = Channel("last-word", url, ("alarm",), all_clear=False, full_length=False)
        lines += [f"SILLWARD_LAST_WORD: {problem}" for problem in problems([last]) if problem]
    if lines:
        raise ConfigError(lines)


def require_page_parts() -> None:
    """Raise ConfigError unless the libraries of the page are installed."""
    if not all(map(find_spec, ("waitress", "werkzeug"))):
        msg = "the page needs waitress and werkzeug: pip install '.[page]' in the checkout"
        raise ConfigError([msg])


def page_links(app: App, path: str = "") -> PageLinks | None:
    """Return what makes the links in messages; None if the settings name no page that is served.

    path: of the household, where the page is that of several. A link to answer with works without.
    If there can be no key that is logged: a notice without links is better than none.
    """
    try:
        return links_of(app, path or app.page_path)
    except ConfigError as error:
        log.warning("links.none reason=%s", error)
        return None


def links_of(app: App, path: str) -> PageLinks | None:
    """Return what `page_links` does. Raise ConfigError if there can be no key."""
    settings, base = app.settings, app.settings.page.link_base
    if base is None or app.pretending:
        return None
    if app.place and why_none(app.place.name, settings, app.household.people) is not None:
        return None
    return PageLinks(page_key(settings.credentials, app.kept_beside), f"{base}{path}")


def build_desks(
    apps: Sequence[App],
    ledger: Ledger | None = None,
    sender: Sender = sending.send,
    run: RunControl | None = None,
    *,
    show_progress: bool = False,
) -> list[Desk]:
    """Build a desk for each household. They share the ledger, the forecast updater and the run.

    ledger: by default the one of the settings.
    show_progress: say on a terminal which source is asked, when that takes long.
    """
    first, run = apps[0], run or RunControl()
    if ledger is None:
        ledger = Ledger.open_or_in_memory(first.settings.ledger, clock=first.clock)
    contexts: list[ServiceContext] = []
    updater = read_only.forecast_updater(
        first,
        ledger,
        [app.site for app in apps],
        collections=lambda: [context.household.collection for context in contexts],
        show_progress=show_progress,
        step_done=run.step_done,
    )
    updater.requests = run.tally.provider_calls
    paths = site_paths([app.site.name for app in apps])
    contexts += [
        ServiceContext(
            app.household,
            updater,
            ledger,
            sender,
            app.clock,
            run,
            page_links(app, paths[app.site.name]),
            push_identity(app),
        )
        for app in apps
    ]
    return [Desk.of(context) for context in contexts]


def desk_for_command(app: App, ledger: Ledger | None = None) -> Desk:
    """Build one desk for a command that sends a round, or shows the mail of the week.

    ledger: by default the one of the settings; at a pretended time or with a recorded file, one
    in memory, so that nothing is kept.
    """
    if ledger is None and app.pretending:
        ledger = Ledger(IN_MEMORY)
    (desk,) = build_desks([app], ledger, show_progress=True)
    return desk
