"""Forecasts for many households: one updater asks for all, and each has a view of its own.

What is asked for is kept in the ledger that all share. A household's own store reads it there, and
works with what its own ledger knows besides: what was read at its spots, and its archive of nights.
"""

from collections import OrderedDict
from dataclasses import dataclass, field
from datetime import datetime
from typing import TypeVar

from sillward.forecast.updater import ForecastUpdater
from sillward.ledger import CallSchedule
from sillward_rules.weather.site import Site

MAX_READ = 200
"""So many forecasts of all households' stay in memory as they were read. Judgement: some 100 kB
each (measured), and they are needed again when the next ones come."""

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

    updater: ForecastUpdater
    _sites: dict[str, Site] = field(default_factory=dict)
    _new: dict[str, Site] = field(default_factory=dict)
    """Those for which nothing has been asked yet."""

    def add(self, site: Site) -> None:
        """Ask for a site from now on, in the place of one of the same key."""
        if self._sites.get(site.name) != site:
            self._sites[site.name] = self._new[site.name] = site

    def remove(self, name: str) -> None:
        """Ask no more for the site of this key."""
        self._sites.pop(name, None)
        self._new.pop(name, None)

    def refresh(self) -> bool:
        """Call the sources that are due. Return whether any was called.

        A source is called for all sites, so that one of them shows whether it is due; of those that
        are new, all do.
        """
        if not self._sites:
            return False
        updater, before = self.updater, self._schedules()
        updater.sites = tuple(self._sites.values())
        updater.refresh_due(*(self._new.values() or updater.sites[:1]))
        self._new.clear()
        return self._schedules() != before

    def _schedules(self) -> list[CallSchedule | None]:
        store = self.updater.store
        names = [source.name for source in store.sources]
        names += [] if store.ensemble is None else [store.ensemble.name]
        return [store.ledger.call_schedules.get(name) for name in names]


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
