"""The pages of a folder of households, put together from its settings and its house."""

from dataclasses import dataclass

from sillward.assembly.app import App, of_place
from sillward.assembly.household_desks import MAX_REASON, Equipment, HouseholdDesk
from sillward.assembly.page_access import why_none
from sillward.assembly.page_setup import desk_beside, guard_of, key_of
from sillward.config import households
from sillward.config.household import Household
from sillward.config.households import Place
from sillward.config.settings import Settings
from sillward.errors import ConfigError, LedgerError, SillwardError, one_line
from sillward.page.application import Application
from sillward.page.guard import Guard
from sillward.page.hosts import Hosts
from sillward.page.household_pages import LIMITS, BuiltPage, HouseholdPages
from sillward.page.server import PageServer
from sillward.service.house import House


def household_pages(house: House[Place], equipment: Equipment) -> PageServer | None:
    """Build the page of a house; None if the settings name no address for it."""
    page = equipment.settings.page
    address = page.host_port
    if address is None:
        return None
    hosts = Hosts.of(page, address[0])

    def find(name: str) -> "_Resident | None":
        member = house.members.get(name)
        if not isinstance(member, HouseholdDesk):
            return None
        settings = households.settings_of(equipment.settings, member.place)
        return _Resident(member, house, equipment, settings, hosts)

    # What is no household's has no forms and no sessions, so that nothing is ever signed there.
    pages = HouseholdPages(find, Guard(b"", hosts))
    return PageServer(pages, *address, page.proxy, LIMITS)


@dataclass(slots=True)
class _Resident:
    """A household of the house, as `page.household_pages` knows it."""

    member: HouseholdDesk
    house: House[Place]
    equipment: Equipment
    settings: Settings
    """Its own."""
    hosts: Hosts
    _guard: Guard | None = None
    """Stays when the page leaves memory: it remembers wrong tries of a passphrase."""
    _read: tuple[object, Household | ConfigError] | None = None

    @property
    def is_there(self) -> bool:
        return self.house.members.get(self.member.place.name) is self.member

    @property
    def has_page(self) -> bool:
        try:
            people = self._current().people
        except ConfigError:
            return False
        return why_none(self.member.place.name, self.settings, people) is None

    def build(self) -> BuiltPage:
        try:
            app = self._app()
            if self._guard is None:
                self._guard = guard_of(app, key_of(app), self.hosts, self._current)
            member = self.member
            desk = desk_beside(
                app, self._current, lambda: member.ledger_in_memory, lambda: [*member.troubles]
            )
        except LedgerError:  # for a while
            raise
        except SillwardError as error:
            self.member.page_refused = one_line(str(error), MAX_REASON)
            raise
        self.member.page_refused = None
        return BuiltPage(Application(desk, self._guard), desk.context.ledger.close)

    def answered(self) -> None:
        self.house.note_news(self.member.place.name)

    def _app(self) -> App:
        member, equipment = self.member, self.equipment
        member.place.require_own_files()
        return of_place(
            member.place, equipment.settings, equipment.sources, equipment.clock, self._current()
        )

    def _current(self) -> Household:
        """Return the household in force. Raise ConfigError if there is none.

        It is read from its file if it has had no turn in this process so far, or if other workers
        have some of its turns: then one of them may have taken over an edit.
        """
        known = self.member.household
        if known is not None and self.equipment.ledgers.turns is None:
            self._read = None
            return known
        stamp, read = self.member.stamp_of_collection(), self._read
        if read is None or read[0] != stamp:
            read = self._read = stamp, self._from_file()
        if not isinstance(read[1], ConfigError):
            return read[1]
        if known is None:
            raise read[1]
        return known

    def _from_file(self) -> Household | ConfigError:
        equipment = self.equipment
        try:
            app = of_place(
                self.member.place, equipment.settings, equipment.sources, equipment.clock
            )
        except ConfigError as error:
            return error
        return app.household
