"""Quiet hours: over midnight, by the sun, on days on which clocks change."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from sillward.config.quiet_hours import LEAD, QuietHours
from sillward_rules.weather.site import Site
from sillward_rules.weather.time_expressions import parse_hours
from tests.support.desks import SITE, local

NIGHT = QuietHours(parse_hours("22:30-06:30"))


@pytest.mark.parametrize(
    ("at", "until"),
    [("22:29", None), ("22:30", "06:30"), ("23:59", "06:30"), ("03:00", "06:30"), ("06:30", None)],
)
def test_quiet_hours_reach_over_midnight(at: str, until: str | None) -> None:
    ends = NIGHT.until(SITE, local(at))

    assert (None if ends is None else f"{ends.astimezone(SITE.zone):%H:%M}") == until


def test_what_falls_into_them_is_due_before_they_start() -> None:
    assert NIGHT.before(SITE, local("23:00")) == local("22:30") - LEAD
    assert NIGHT.before(SITE, local("21:00")) == local("21:00")


def test_without_any_nothing_is_quiet() -> None:
    assert QuietHours().until(SITE, local("03:00")) is None
    assert QuietHours().before(SITE, local("03:00")) == local("03:00")


def test_they_may_go_by_the_sun() -> None:
    by_sun = QuietHours(parse_hours("sunset+2h to sunrise"))

    assert by_sun.until(SITE, local("20:30")) is None  # sunset is 18:45
    ends = by_sun.until(SITE, local("21:00"))
    assert ends is not None
    assert local("08:00") + timedelta(days=1) < ends < local("08:30") + timedelta(days=1)


@pytest.mark.parametrize("day", ["2026-03-29", "2026-10-25"])
def test_they_end_by_the_clock_on_the_wall_when_it_changes(day: str) -> None:
    """Central Europe, 2026: summer time begins on 29 March and ends on 25 October (zoneinfo)."""
    site = Site("North court", 52.5, 13.4, 40, ZoneInfo("Europe/Berlin"))
    night = QuietHours(parse_hours("22:00-06:00"))
    at = datetime.fromisoformat(f"{day} 00:30").replace(tzinfo=site.zone).astimezone(UTC)

    ends = night.until(site, at)

    assert ends is not None
    assert f"{ends.astimezone(site.zone):%Y-%m-%d %H:%M}" == f"{day} 06:00"
