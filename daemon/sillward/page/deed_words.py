"""The deeds of the log in words: who did what."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from sillward.ledger.tables.deeds import Deed
from sillward.service import absences, devices
from sillward.wording.helper_list import span_in_words
from sillward.wording.voice import Voice, capital

MAX_NAMES = 6
"""Plants that are named. Judgement: two lines of a phone."""

_DID = {
    "done": "{kind}, done: {plants}",
    "not needed": "{kind}, not needed: {plants}",
    "later": "{kind}, reminder put off to {until}: {plants}",
    "moved": "moved to {to}: {plants}",
    "taken back": "taken back ({answer}): {plants}",
    absences.BEGUN: "Away: {helper} is told too, {days}",
    absences.ENDED: "Back: {helper} is told no more",
    devices.BEGUN: "{phone} is told",
    devices.ENDED: "{phone} is told no more",
}
"""What was done, by the names of deeds; a deed of another name is told by that name."""


def line(deed: Deed, voice: Voice) -> str:
    """Return "Inés: carry in, done: Blue basket and Grey curls"."""
    about: Mapping[str, Any] = deed.about
    plants = [str(name) for name in about.get("plants", ())]
    until = about.get("until")
    facts = {
        "kind": voice.say("kind", name=about["kind"]) if "kind" in about else "",
        "plants": voice.names(plants, MAX_NAMES),
        "until": voice.hour(datetime.fromisoformat(until)) if until else "",
        "to": about.get("to", ""),
        "answer": about.get("answer", ""),
        "helper": about.get("helper", ""),
        "phone": about.get("phone", ""),
        "days": _days(about, voice),
    }
    form = _DID.get(deed.what)
    said = f"{deed.what}: {facts['plants']}" if form is None else form.format(**facts)
    return f"{deed.person}: {said[:1].lower()}{said[1:]}" if deed.person else capital(said)


def _days(about: Mapping[str, Any], voice: Voice) -> str:
    """Return the days of an absence; empty for other deeds."""
    first, last = (str(about.get(name, "")) for name in ("first_day", "last_day"))
    if not (first and last):
        return ""
    return span_in_words((date.fromisoformat(first), date.fromisoformat(last)), voice)
