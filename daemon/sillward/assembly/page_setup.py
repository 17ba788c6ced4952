"""The page, put together from the settings and the desk of a household."""

from collections.abc import Sequence

from sillward.assembly import demo_page, read_only
from sillward.assembly.app import App
from sillward.channels import apprise_sender
from sillward.ledger import Ledger
from sillward.links.key_file import page_key
from sillward.links.page_links import PageLinks
from sillward.page.application import Application
from sillward.page.desk import PageDesk
from sillward.page.guard import Guard
from sillward.page.server import PageServer
from sillward.service.context import ServiceContext
from sillward.service.desk import Desk


def page_server(apps: Sequence[App], desks: Sequence[Desk]) -> PageServer | None:
    """Build the page of the daemon; None if the settings name no address for it.

    Raise ConfigError if what it needs is not installed, or cannot be had.
    """
    app, desk = apps[0], desks[0]
    address = app.settings.page.host_port
    if address is None:
        return None
    context = page_context(app)
    page_desk = PageDesk(
        context,
        lambda: desk.context.household,
        lambda: "the ledger cannot be written" if desk.context.ledger.in_memory else None,
        desk.troubles,
    )
    key = page_key(app.settings.credentials, app.settings.ledger)
    guard = Guard(key, app.settings.page.host_names)
    return PageServer(Application(page_desk, guard), *address, app.settings.page.proxy)


DEFAULT_ADDRESS = "127.0.0.1", 8123
"""Where `sillward page` serves if no setting says otherwise: for this machine alone."""


def own_server(app: App, port: int | None) -> PageServer:
    """Build the page of `sillward page`, beside a daemon that may run. port: instead of the set
    one."""
    host, usual_port = app.settings.page.host_port or DEFAULT_ADDRESS
    key = page_key(app.settings.credentials, app.settings.ledger)
    desk = PageDesk(page_context(app), lambda: app.household)
    guard = Guard(key, app.settings.page.host_names)
    at = usual_port if port is None else port
    return PageServer(Application(desk, guard), host, at, app.settings.page.proxy)


def demo_server(weather: str, key: bytes, port: int | None) -> PageServer:
    """Build the page of the packaged example, for this machine alone."""
    host, usual_port = DEFAULT_ADDRESS
    application = Application(demo_page.page_desk(weather), Guard(key))
    return PageServer(application, host, usual_port if port is None else port)


def page_context(app: App, ledger: Ledger | None = None) -> ServiceContext:
    """Build what the page works with: a ledger of its own, which it reads and writes."""
    ledger = ledger or Ledger(app.settings.ledger)
    updater = read_only.forecast_updater(app, ledger)
    settings = app.settings
    key, url = page_key(settings.credentials, settings.ledger), settings.page.url or ""
    links = PageLinks(key, url.rstrip("/"))
    return ServiceContext(
        app.household, updater, ledger, apprise_sender.send, app.clock, links=links
    )
