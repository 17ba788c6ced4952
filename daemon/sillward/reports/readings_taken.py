"""What `sillward read-file` answers: what was in the file, what is new, what is not used."""

from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any

from sillward.ledger.tables.readings import READINGS_DAYS
from sillward.readings.intake import TakenIn
from sillward.readings.logger_file import LoggerFile
from sillward.reports.json_encoding import iso_in_zone_of
from sillward.wording.voice import Voice
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.readings.quality import Reason
from sillward_rules.weather.site import Site

NOT_TOLD = "sillward has no forecasts of these nights to compare them with"


def document(found: LoggerFile, taken: Sequence[TakenIn], site: Site) -> dict[str, Any]:
    """Return it as plain types, with times in the site's zone."""
    iso = iso_in_zone_of(site)
    return {
        "schema": 1,
        "site": site.label,
        "file": found.name,
        "taken": [
            {
                "spot": part.source.spot.name,
                "quantity": part.source.quantity.value,
                "sensor": part.source.sensor,
                "readings": part.count,
                "new": part.new,
                "too_old": part.too_old,
                "repeated": part.repeated,
                "set_aside": dict(part.set_aside),
                "first": iso(part.first_at),
                "last": iso(part.last_at),
            }
            for part in taken
        ],
        "remarks": found.remarks,
    }


def lines(
    found: LoggerFile, taken: Sequence[TakenIn], first_told: date | None, voice: Voice
) -> Iterator[str]:
    """Yield it as sentences.

    first_told: the first night that a forecast was kept of; None if there is none.
    """
    for part in taken:
        days = [str(voice.local(at).date()) for at in (part.first_at, part.last_at)]
        source = part.source
        yield (
            f"{source.spot.name}, {source.sensor}: {part.count:,}"
            f" reading{'' if part.count == 1 else 's'} of {source.quantity},"
            f" {' to '.join(dict.fromkeys(days))}; {_new(part)}"
        )
        for reason, count in part.set_aside.items():
            yield f"  set aside: {count:,}, {reason}"
        if part.new == 0 and any(reason.startswith(Reason.TWIN) for reason in part.set_aside):
            yield f"  is {source.spot.name} the right spot for this file?"
        if part.repeated:
            yield f"  {part.repeated:,} of a second that has one already: the first counts"
        if part.too_old:
            are = "is" if part.too_old == 1 else "are"
            yield f"  {part.too_old:,} {are} older than {READINGS_DAYS} days, and not kept"
        if part.new and source.quantity is Quantity.TEMPERATURE:
            last = voice.local(part.last_at).date()
            if first_told is None or last <= first_told:
                yield f"  they teach nothing: {NOT_TOLD}"
    yield from found.remarks


def _new(part: TakenIn) -> str:
    if part.count == 1:
        if part.set_aside or part.too_old:
            return "it is not used"
        return "it is new" if part.new else "it is not new"
    if sum(part.set_aside.values()) + part.too_old == part.count:
        return "none of them is used"
    if part.new == 0:
        return "none of them is new"
    if part.new == part.count:
        return "all of them are new"
    return f"{part.new:,} of them {'is' if part.new == 1 else 'are'} new"
