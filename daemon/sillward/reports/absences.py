"""What `sillward away` prints: who looks after the plants, from when to when."""

from collections.abc import Iterator, Sequence
from typing import Any

from sillward.ledger import Absence
from sillward.reports.json_encoding import iso_in_zone_of
from sillward.wording.helper_list import span_in_words
from sillward.wording.voice import Voice
from sillward_rules.weather.site import Site


def lines(absences: Sequence[Absence], voice: Voice) -> Iterator[str]:
    """Yield a line for each absence, or one that says that there are none."""
    if not absences:
        yield "Nobody looks after the plants in your place, now or later."
    for absence in absences:
        told = briefed(absence, voice)
        yield f"{absence.person} ({absence.channel}): {days(absence, voice)}; {told}"


def days(absence: Absence, voice: Voice) -> str:
    """Return its days: "from Friday 4 December, morning, to Sunday 13 December, evening"."""
    return span_in_words((absence.first_day, absence.last_day), voice)


def briefed(absence: Absence, voice: Voice) -> str:
    """Return whether and when the helper was sent the list."""
    if absence.briefed_at is None:
        return "the list is not sent yet"
    return f"the list was sent {voice.date_and_hour(absence.briefed_at)}"


def document(absences: Sequence[Absence], site: Site) -> dict[str, Any]:
    """Return all as plain types, with times in the site's zone."""
    iso = iso_in_zone_of(site)
    return {
        "schema": 1,
        "site": site.label,
        "absences": [
            {
                "person": absence.person,
                "channel": absence.channel,
                "first_day": str(absence.first_day),
                "last_day": str(absence.last_day),
                "note": absence.note,
                "briefed": None if absence.briefed_at is None else iso(absence.briefed_at),
            }
            for absence in absences
        ],
    }
