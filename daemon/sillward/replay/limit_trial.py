"""What a proposed limit would have cost, and saved, in a past year: one plant, replayed twice."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from sillward.archive import past_of_ledger
from sillward.config.household import Household
from sillward.ledger import Ledger
from sillward.replay.forecasts import SEED, forecasts_for, usual_choice
from sillward.replay.period import Period, whole_period
from sillward.replay.run import run
from sillward.service.accepted_limits import LimitChange
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.limits import Limit
from sillward_rules.plants.plant import Plant
from sillward_rules.replay.engine import Plan
from sillward_rules.replay.records import NightRecord, ReplayResult
from sillward_rules.replay.yardstick import judged_with
from sillward_rules.weather.learned_error import STAND_IN_WITHIN_H

NIGHTS = 365
"""Nights that are replayed: the last year of those that the ledger knows."""


def with_changes(plant: Plant, changes: Sequence[LimitChange]) -> Plant:
    """Return a plant with other limits."""
    limits = {change.name: Limit(change.value, "proposed") for change in changes}
    return replace(plant, limits=replace(plant.limits, **limits))  # type: ignore[arg-type]


def limit_trial(
    ledger: Ledger,
    household: Household,
    collection: Collection,
    plant: Plant,
    changes: Sequence[LimitChange],
    now: datetime,
    on_night: Callable[[NightRecord], None] = lambda _: None,
    processes: int | None = None,
) -> list[ReplayResult]:
    """Replay the last year of a ledger for one plant, with its limits as they are, and as they are
    proposed. on_night, processes: as in `run`.

    Raise SourceError where the ledger knows too few nights until shortly before their low.
    """
    site = collection.site
    since = site.local_date(now) - timedelta(days=NIGHTS)
    past = past_of_ledger(ledger, site, since, STAND_IN_WITHIN_H)
    whole = whole_period(site, past.weather)
    period = Period(max(whole.first, whole.last - timedelta(days=NIGHTS - 1)), whole.last)
    forecasts = forecasts_for(usual_choice(past), past, SEED, None)
    pair = [replace(collection, plants=(each,)) for each in (plant, with_changes(plant, changes))]
    plans = [
        Plan(
            one,
            past.weather,
            forecasts,
            period.first,
            period.last,
            moved_by=household.policy.moved_by,
            max_messages=household.policy.max_messages,
            judged_by=judged_with(one, other),
        )
        for one, other in zip(pair, reversed(pair), strict=True)
    ]
    return run(plans, on_night, processes)
