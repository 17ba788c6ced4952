"""Forecasts for many households: one updater asks for all, and each has a view of its own.

What is asked for is kept by cell in the ledger that all share (`cells`). A household's own store
reads it there, takes it to the height of its site, and works with what its own ledger knows
besides: what was read at its spots, and its archive of nights.
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
"""So many forecasts of cells stay in memory as they were read. Judgement: those of 300 cells by two
sources, some 40 kB each; all households of a cell work with the same."""

Key = TypeVar("Key")
Value = TypeVar("Value")


class RecentlyUsed(OrderedDict[Key, Value]):
    """A dictionary that forgets what was put into it the longest ago, beyond a number."""

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
    """Asks for the forecasts of all households when they are due."""

    updater: CellUpdater
    _sites: dict[str, Site] = field(default_factory=dict)

    def add(self, site: Site) -> None:
        """Ask for a site from now on, in the place of one of the same key."""
        self._sites[site.name] = site

    def remove(self, name: str) -> None:
        """Ask no more for the site of this key."""
        self._sites.pop(name, None)

    def refresh(self) -> Collection[str]:
        """Ask for what is due. Return the keys of the sites of which something new was said."""
        self.updater.sites = tuple(self._sites.values())
        self.updater.refresh_due()
        return self.updater.sites_with_news()


@dataclass(slots=True)
class ForecastsOfOne(ForecastUpdater):
    """What one household has of the forecasts that are asked for all: it never asks itself."""

    shared: SharedForecasts | None = None
    _archived: dict[str, datetime] = field(default_factory=dict)
    """Up to which forecast of each source the nights are in the household's archive."""

    def replace_site(self, before: Site, after: Site) -> None:
        """Have another site asked for in the place of one of these from now on."""
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
