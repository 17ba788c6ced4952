"""The page, put together from the settings and the desks of the households."""

from collections.abc import Callable, Sequence

from sillward.assembly import demo_page, read_only
from sillward.assembly.app import App
from sillward.assembly.page_access import require_passphrase
from sillward.assembly.web_push import push_identity
from sillward.channels import apprise_sender
from sillward.config.household import Household
from sillward.ledger import Ledger
from sillward.links.key_file import page_key
from sillward.links.page_links import PageLinks
from sillward.links.site_paths import site_paths
from sillward.page.application import Application
from sillward.page.desk import PageDesk
from sillward.page.guard import Guard
from sillward.page.hosts import Hosts
from sillward.page.people.door import Door
from sillward.page.photos.folder import PhotoFolder
from sillward.page.server import PageServer
from sillward.page.sites import SitePage, Sites
from sillward.service.context import ServiceContext
from sillward.service.desk import Desk

DEFAULT_ADDRESS = "127.0.0.1", 8123
"""Where `sillward page` serves if no setting says otherwise: for this machine alone."""


def page_server(apps: Sequence[App], desks: Sequence[Desk]) -> PageServer | None:
    """Build the page of the daemon; None if the settings name no address for it.

    One household has its page at the top, several have theirs below paths of their own. Raise
    ConfigError if what it needs cannot be had, or if it would be open to strangers.
    """
    page = apps[0].settings.page
    address = page.host_port
    if address is None:
        return None
    key, hosts = key_of(apps[0]), Hosts.of(page, address[0])
    paths = site_paths([app.site.name for app in apps])
    pages = {
        paths[app.site.name]: SitePage(
            app.site.name,
            Application(_desk_of(app, desk), guard_of(app, key, hosts, _current(desk))),
        )
        for app, desk in zip(apps, desks, strict=True)
    }
    application = pages[""].application if "" in pages else Sites(pages, Guard(key, hosts))
    return PageServer(application, *address, page.proxy)


def own_server(app: App, port: int | None) -> PageServer:
    """Build the page of `sillward page`, beside a daemon that may run. port: instead of the set
    one. Raise ConfigError like `page_server`."""
    page = app.settings.page
    host, usual_port = page.host_port or DEFAULT_ADDRESS
    guard = guard_of(app, key_of(app), Hosts.of(page, host), lambda: app.household)
    photos = PhotoFolder.beside(app.kept_beside)
    desk = PageDesk(page_context(app), lambda: app.household, photos=photos)
    at = usual_port if port is None else port
    return PageServer(Application(desk, guard), host, at, page.proxy)


def demo_server(weather: str, key: bytes, port: int | None) -> PageServer:
    """Build the page of the packaged example, for this machine alone."""
    host, usual_port = DEFAULT_ADDRESS
    application = Application(demo_page.page_desk(weather), Guard(key))
    return PageServer(application, host, usual_port if port is None else port)


def page_context(app: App, ledger: Ledger | None = None) -> ServiceContext:
    """Build what the page works with: a ledger of its own, which it reads and writes."""
    ledger = ledger or app.open_ledger()
    updater = read_only.forecast_updater(app, ledger)
    settings = app.settings
    links = PageLinks(key_of(app), f"{(settings.page.url or '').rstrip('/')}{app.page_path}")
    return ServiceContext(
        app.household,
        updater,
        ledger,
        apprise_sender.send,
        app.clock,
        links=links,
        push=push_identity(app),
    )


def key_of(app: App) -> bytes:
    return page_key(app.settings.credentials, app.kept_beside)


def _current(desk: Desk) -> Callable[[], Household]:
    return lambda: desk.context.household


def _desk_of(app: App, desk: Desk) -> PageDesk:
    return desk_beside(app, _current(desk), lambda: desk.context.ledger.in_memory, desk.troubles)


def desk_beside(
    app: App,
    current: Callable[[], Household],
    in_memory: Callable[[], bool],
    troubles: Callable[[], list[str]],
) -> PageDesk:
    """Return the page's desk of a household, beside that of the daemon. Raise LedgerError.

    current: returns the household in force; in_memory: whether the daemon cannot write its ledger;
    troubles: as of `PageDesk`.
    """
    return PageDesk(
        page_context(app),
        current,
        lambda: "the ledger cannot be written" if in_memory() else None,
        troubles,
        PhotoFolder.beside(app.kept_beside),
    )


def guard_of(app: App, key: bytes, hosts: Hosts, current: Callable[[], Household]) -> Guard:
    """Return what lets the people of a household in, and nobody else."""
    require_passphrase(app)
    settings = app.settings
    door = Door(
        key,
        app.site.name,
        lambda: current().people,
        settings.credentials,
        required=settings.page.beyond_loopback,
    )
    return Guard(key, hosts, door)
