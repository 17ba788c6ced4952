"""Forecasts for many households: one updater fetches them for all, and each has its own view.

Forecasts are stored by cell in the ledger that all share (`cells`). A household's own store reads
them there, corrects them for the elevation of its site, and combines them with what its own ledger
knows: readings at its spots, and its archive of nights.
"""

from collections import OrderedDict
from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import datetime
from typing import TypeVar

from sillward.forecast.cell_updater import CellUpdater
from sillward.forecast.updater import ForecastUpdater
from sillward_rules.weather.site import Site

MAX_READ = 600
"""How many cell forecasts stay in memory. Judgement: those of 300 cells from two sources, some 40
kB each; all households in a cell use the same one."""

Key = TypeVar("Key")
Value = TypeVar("Value")


class RecentlyUsed(OrderedDict[Key, Value]):
    """A dictionary of limited size that forgets its oldest entries."""

    def __init__(self, most: int) -> None:
        super().__init__()
        self._most = most

    def __setitem__(self, key: Key, value: Value) -> None:
        super().__setitem__(key, value)
        self.move_to_end(key)
        while len(self) > self._most:
            self.popitem(last=False)


@dataclass(slots=True)
class SharedForecasts:
    """Fetches the forecasts of all households when they are due."""

    updater: CellUpdater
    _sites: dict[str, Site] = field(default_factory=dict)

    def add(self, site: Site) -> None:
        """Fetch forecasts for a site from now on, replacing one with the same key."""
        self._sites[site.name] = site

    def remove(self, name: str) -> None:
        """Stop fetching for the site with this key."""
        self._sites.pop(name, None)

    def refresh(self) -> Collection[str]:
        """Fetch what is due. Return the keys of the sites for which something new came."""
        self.updater.sites = tuple(self._sites.values())
        self.updater.refresh_due()
        return self.updater.sites_with_news()


@dataclass(slots=True)
class ForecastsOfOne(ForecastUpdater):
    """One household's view of the forecasts fetched for all: it never fetches any itself."""

    shared: SharedForecasts | None = None
    _archived: dict[str, datetime] = field(default_factory=dict)
    """Up to which forecast of each source the nights are in the household's archive."""

    def replace_site(self, before: Site, after: Site) -> None:
        """Have another site fetched in place of one of these from now on."""
        ForecastUpdater.replace_site(self, before, after)
        if self.shared is not None:
            self.shared.add(after)

    def refresh_due(self, *needed: Site) -> None:
        """Put what has come into the household's archive of nights."""
        for site in needed or self.sites:
            for held in self.store.held(site):
                name, at = held.source.name, held.saved.changed_at
                if self._archived.get(name) != at:
                    if not self.store.has_nights_of(name, site, held.weather, at):
                        self.store.keep_nights(name, site, held.weather, at)
                    self._archived[name] = at
