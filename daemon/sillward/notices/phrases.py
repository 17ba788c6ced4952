"""Small pieces of wording that every message shares: times, names, numbers, reasons."""

from collections.abc import Sequence
from collections.abc import Set as AbstractSet
from datetime import datetime, timedelta

from sillward_rules.chore import Chore, ChoreKind, Reason
from sillward_rules.site import Site
from sillward_rules.spread import SURE, percent

SAME_TRIP = timedelta(minutes=30)
"""Walks this close together are one number in a title."""


def capital(text: str) -> str:
    """The text with a capital at its start."""
    return text[:1].upper() + text[1:]


def by(when: str) -> str:
    """ "by 17:10", or "now"."""
    return "now" if when == "now" else f"by {when}"


def clock(at: datetime, now: datetime, site: Site) -> str:
    """A time as people say it: "17:10", "tomorrow 10:35", "Fri 10:35"; "now" if it is over."""
    if at <= now:
        return "now"
    local = at.astimezone(site.zone)
    days = (local.date() - site.local_date(now)).days
    prefix = "" if days == 0 else "tomorrow " if days == 1 else f"{local:%a} "
    return f"{prefix}{local:%H:%M}"


def clock_of_day(at: datetime, now: datetime, site: Site) -> str:
    """A time that may be over: "17:10", with its day if that is another one."""
    local = at.astimezone(site.zone)
    same = local.date() == site.local_date(now)
    return f"{local:%H:%M}" if same else f"{local:%a %H:%M}"


def hour(at: datetime, site: Site) -> str:
    """The bare clock time."""
    return f"{at.astimezone(site.zone):%H:%M}"


def quantity(reason: Reason) -> str:
    """What is watched, as people say it."""
    return {"rain wetness": "crowns wet with rain", "ppfd": "light"}.get(
        reason.quantity, reason.quantity
    )


def plants(count: int) -> str:
    """ "1 plant", "3 plants"."""
    return f"{count} plant" if count == 1 else f"{count} plants"


def names(listed: Sequence[str], most: int, others: AbstractSet[str] | None = None) -> str:
    """At most `most` names, then how many more; with most 0 only the count.

    others are the plants that stand there and are not meant, if that is known: where they are
    few, the many are "all 6" or "all but Grey curls (6)".
    """
    count = len(listed)
    if others is not None and count > max(2, most) and few(others, listed):
        return all_but("all", count, others)
    if most == 0 and count > 1:
        return plants(count)
    if count <= max(1, most + 1):
        return ", ".join(listed)
    return f"{', '.join(listed[:most])} and {count - most} more"


def few(others: AbstractSet[str], listed: Sequence[str]) -> bool:
    """Whether it is shorter to name those who are not meant."""
    return len(others) <= min(2, len(listed) - 1)


def all_but(everything: str, count: int, others: AbstractSet[str]) -> str:
    """ "all 6", "all but Grey curls (6)"."""
    if others:
        return f"{everything} but {', '.join(sorted(others))} ({count})"
    return f"{everything} {count}"


def number(reason: Reason) -> str:
    """The value with its unit; digits enough that it is visibly on its side of the limit."""
    if reason.value is None:
        return "not known"
    digits = 0 if reason.unit in ("min", "%") else 1
    rounded = round(reason.value, digits)
    if reason.limit is not None and rounded == reason.limit != reason.value:
        digits += 1
    return f"{fixed(reason.value, digits)} {reason.unit}"


def fixed(value: float, digits: int) -> str:
    """A number with so many digits; no minus before a zero."""
    return f"{round(value, digits) + 0.0:.{digits}f}"


def limit(reason: Reason) -> str:
    """The limit with its unit, bare."""
    return "" if reason.limit is None else f"{reason.limit:g} {reason.unit}"


def chance(reasons: Sequence[Reason]) -> str:
    """ ", 68 % chance", ", 68 to 93 % chance"; nothing where all is unknown, or near certain."""
    known = [reason.chance for reason in reasons if reason.chance is not None]
    if not known or min(known) >= SURE:
        return ""
    low, high = percent(min(known)), percent(max(known))
    told = high if low == high else f"{low.removesuffix(' %')} to {high}"
    return f", {told} chance"


def deciding(chores: Sequence[Chore]) -> Reason:
    """The reason that lies furthest beyond its limit: what nobody knows comes first."""

    def margin(reason: Reason) -> float:
        if reason.value is None or reason.limit is None:
            return float("-inf")
        gap = reason.value - reason.limit
        low_is_bad = reason.quantity in _LOW_IS_BAD and not reason.above
        return gap if low_is_bad else -gap

    return min((reason for chore in chores for reason in chore.because), key=margin)


def why(chores: Sequence[Chore], site: Site) -> str:
    """The number that matters most, whose limit it breaks, and when."""
    reason = deciding(chores)
    if reason.value is None:
        return "Night not known: treated as cold"
    what = "Leaf" if reason.quantity == "leaf temperature" else capital(quantity(reason))
    limit = f"limit {reason.limit:g} ({reason.plant})"
    return f"{what} {number(reason)} at {hour(reason.at, site)}, {limit}{chance([reason])}"


def in_head(into: Sequence[Chore], now: datetime, site: Site) -> str:
    """ "in by 17:50: 14 plants", or ": 4 plants, then 12" where the walks lie far apart."""
    first = into[0].before
    soon = [chore for chore in into if chore.before - first <= SAME_TRIP]
    count = sum(len(chore.plants) for chore in soon)
    later = sum(len(chore.plants) for chore in into) - count
    rest = f", then {later}" if later else ""
    return f"in {by(clock(first, now, site))}: {plants(count)}{rest}"


def whose(reason: Reason) -> str:
    """Whose limit it is, without the source behind it: "yours", "cattleya"."""
    head = reason.origin.split(":")[0]
    if head.startswith("group "):
        return head.removeprefix("group ").strip('"')
    return {"your own limit": "yours"}.get(head, head)


_LOW_IS_BAD = frozenset({"temperature", "leaf temperature", "humidity", "film life"})


def age(old: timedelta) -> str:
    """ "12 min old", "5 h old"."""
    minutes = max(0, int(old / timedelta(minutes=1)))
    return f"{minutes} min old" if minutes < 120 else f"{minutes // 60} h old"


def no_wetting(chore: Chore) -> bool:
    """Whether a stop-wetting chore means that nothing may be wetted all day."""
    return (
        chore.kind is ChoreKind.STOP_WETTING
        and chore.not_before is not None
        and chore.before <= chore.not_before
    )
