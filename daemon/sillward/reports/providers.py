"""What is asked of the providers of forecasts on behalf of many households, and what that leaves of
their quotas."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any, Protocol

from sillward.errors import one_line
from sillward.forecast.cells import cell_named
from sillward.forecast.quota import Quota, pace
from sillward.ledger import Ledger

ASKED_FOR = timedelta(days=1)
"""Cells whose forecast was fetched in this time are asked for."""

MAX_REASON = 120
"""Characters of why a call failed. Judgement: what is left of two lines of a terminal."""


class Provider(Protocol):
    """A source or an ensemble, as far as it matters here."""

    @property
    def name(self) -> str:
        """The name under which the ledger keeps its calls."""

    @property
    def interval(self) -> timedelta:
        """The usual time between two forecasts."""

    @property
    def quota(self) -> Quota | None:
        """What it allows."""


def document(shared: Ledger, providers: Sequence[Provider], now: datetime) -> list[dict[str, Any]]:
    """Return for each provider that is asked what it is asked, as a JSON document.

    shared: the ledger that all households share.
    """
    return [one for one in (_of(shared, each, now) for each in providers) if one is not None]


def _of(shared: Ledger, provider: Provider, now: datetime) -> dict[str, Any] | None:
    plan = shared.call_schedules.get(provider.name)
    if plan is None:
        return None
    fetched_at = shared.forecasts.fetched_at(provider.name)
    lately = (cell_named(name) for name, at in fetched_at.items() if now - at <= ASKED_FOR)
    cells = [cell for cell in lately if cell is not None]
    spent = plan.calls if plan.day == now.astimezone(UTC).date() else 0
    every = pace(provider.quota, provider.interval, cells, fetched_at, spent, now).every
    allowed = None if provider.quota is None else provider.quota.a_day
    failed = shared.provider_marks.get(f"fetch failed, {provider.name}") if plan.failures else None
    return {
        "provider": provider.name,
        "cells": len(cells),
        "calls_today": spent,
        "calls_allowed": None if allowed is None else round(allowed),
        "every_minutes": round(every.total_seconds() / 60),
        "usual_minutes": round(provider.interval.total_seconds() / 60),
        "failure": None if failed is None else one_line(failed.text, MAX_REASON),
    }


def lines(asked: Sequence[dict[str, Any]]) -> list[str]:
    """Return it as text, a line for each provider."""
    return [_line(one) for one in asked]


def _line(one: dict[str, Any]) -> str:
    if one["failure"] is not None:
        return f"! {one['failure']}"
    cells = f"{one['cells']} cell{'' if one['cells'] == 1 else 's'}"
    bound = "" if one["calls_allowed"] is None else f" of {one['calls_allowed']}"
    every, usual = one["every_minutes"], one["usual_minutes"]
    pace = f"every {every} min"
    if every > usual:
        pace += f" instead of {usual}, to stay within its quota"
    return f"{one['provider']}: {cells}, {one['calls_today']}{bound} calls today, {pace}"
