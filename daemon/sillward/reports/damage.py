"""What `sillward damage` prints: the nights before, what may have done it, and what is proposed."""

from collections.abc import Iterator, Sequence
from datetime import date

from sillward.ledger.tables.diary import DiaryEntry
from sillward.ledger.tables.harmful_nights import HarmfulNight
from sillward.reports.reading_noted import night_in_words
from sillward.service.damage_questions import next_question
from sillward.service.inquest import Inquest, YearOfNights
from sillward.service.limit_news import LimitNews
from sillward.text.columns import PIPE, Mark, Screen
from sillward.text.units import fixed
from sillward.wording import salt_words
from sillward.wording.voice import Voice
from sillward_rules.inquest import ColdNight, HotDay, Suspect
from sillward_rules.plants.learned_limit import LEAST_UNHARMED, Belief
from sillward_rules.plants.water_use import water_use_of
from sillward_rules.weather.uncertainty import percent

SHOWN = 5
"""Suspects that are told. Judgement: a screen of a phone; JSON has all."""

MISSED_K = 4.0
"""A night that was so much colder than expected was missed by the forecast [K]. Judgement: three
times the usual error of a night."""

MOST_UNLIKELY = 2
"""Suspects that are told where none is likely. Judgement: the more there are, the less they say."""

CANNOT_BE_KNOWN = (
    "Not known: rain, and so crowns that stayed wet overnight, and leaves in the sun. How long a"
    " night was cold is estimated from its low."
)
"""What the ledger keeps nothing of."""


def text(
    inquest: Inquest,
    entry: DiaryEntry | None,
    news: LimitNews | None,
    year: YearOfNights | None,
    voice: Voice,
    screen: Screen = PIPE,
) -> str:
    """Return the inquest: first what did it, then what would have kept it in, then the proposal."""
    name = inquest.plant.name
    lines = screen.lines(f"{name}: {_seen(inquest, entry, voice)}")
    shown = shown_of(inquest)
    for number, suspect in enumerate(shown):
        mark = Mark.COLD if suspect.is_likely else None
        # Where no damage was seen nothing has done it.
        told = suspect_line(suspect, None if entry is None else number, voice)
        lines += screen.lines(f"  {told}", mark)
    if not any(suspect.is_likely for suspect in shown):
        lines += screen.lines("  Nothing known points to damage by cold or heat.")
    for line in (*kept_in_lines(inquest, voice), *unknown_lines(inquest, voice)):
        lines += screen.lines(line)
    if news is not None:
        for line in news_lines(inquest.plant.name, news, year, voice):
            lines += screen.lines(line)
    return "\n".join(lines)


def _seen(inquest: Inquest, entry: DiaryEntry | None, voice: Voice) -> str:
    if entry is None:
        return f"no damage noted recently; the three weeks before {voice.day(inquest.seen)}"
    said = ", ".join(word for word in (entry.what, entry.amount) if word)
    return f"damage seen {voice.day(inquest.seen)}{f' ({said})' if said else ''}"


def shown_of(inquest: Inquest) -> Sequence[Suspect]:
    """Return the suspects that are told: those that are likely, or else the first few."""
    likely = [suspect for suspect in inquest.suspects if suspect.is_likely]
    return likely[:SHOWN] or inquest.suspects[:MOST_UNLIKELY]


def suspect_line(suspect: Suspect, number: int | None, voice: Voice) -> str:
    """Return a suspect in a line; number: its place, from 0; None without a verdict."""
    is_told = suspect.is_likely and number is not None
    verdict = "" if not is_told else ": most likely" if number == 0 else ": likely"
    event = suspect.event
    if isinstance(event, ColdNight):
        night = night_in_words(event.day, voice)
        return f"In {night}: {night_words(event, voice)}{verdict}"
    if isinstance(event, HotDay):
        high, limit = voice.degrees(event.high_c), voice.bound(event.limit_c)
        over = f"limit {limit}, {_hours(event.hours)} over"
        return f"{voice.day(event.day)}: air about {high} at {event.spot}, {over}{verdict}"
    return (
        f"{voice.day(event.day)}: fed {voice.hour(event.done_at)}, if the answer came in time; its"
        f" hours ended {voice.hour(event.due)}: its film may have dried before the rinse{verdict}"
    )


def night_words(night: ColdNight, voice: Voice) -> str:
    """Return what a plant went through: "leaf about 8.1 °C (±0.9), limit 10 °C, 4 h under"."""
    sure = "" if night.is_read else "about "
    off = fixed(voice.units.difference(night.sd_k)[0], 1)
    stood = "" if night.is_known else ", its home" if night.is_unmoved else ", if it stood there"
    where = f" at {night.spot}{stood}"
    under = f", {_hours(night.hours)} under" if night.hours > 0 else ""
    read = ", by a reading" if night.is_read else ""
    return (
        f"leaf {sure}{voice.degrees(night.low_c)} (±{off}{read}){where}, limit"
        f" {voice.bound(night.limit_c)}{under}"
    )


def _hours(hours: float) -> str:
    return "less than 1 h" if hours < 0.75 else f"{fixed(hours, 0)} h"


def kept_in_lines(inquest: Inquest, voice: Voice) -> Iterator[str]:
    """Yield what would have kept the plant in on the likeliest night."""
    kept, night = inquest.kept_in, inquest.coldest
    if kept is None or night is None:
        return
    if inquest.suspects[0].is_likely and not night.is_placed:
        yield (
            "Nobody has said where it stood that night, so nothing is learned from it. Confirm"
            " orders, or say where it is: sillward move"
        )
    if kept.ordered:
        yield (
            "It was told to be in that night, and confirmed: its cover did not hold."
            if kept.confirmed
            else "It was told to be in that night; nobody has confirmed it. No limit changes that."
        )
    elif kept.told_c is None:
        yield "What was expected that evening is not on record."
    elif kept.limit_c is None:
        yield (
            f"That evening {voice.degrees(kept.told_c)} was expected, under its limit, but no order"
            " of that night is on record."
        )
    else:
        limit = voice.bound(kept.limit_c)
        expected = f"That evening {voice.degrees(kept.told_c)} was expected"
        if kept.told_c - night.low_c > MISSED_K:
            yield (
                f"{expected}: the forecast was wrong rather than the limit. Only {limit} would have"
                " kept it in; a thermometer there would teach more."
            )
        else:
            yield f"{expected}: a limit of {limit} or more would have kept it in."


def unknown_lines(inquest: Inquest, voice: Voice) -> Iterator[str]:
    """Yield what else may matter, and what cannot be known."""
    yield from _root_lines(inquest, voice)
    if inquest.unknown:
        total = inquest.unknown + len(inquest.nights)
        yield f"Nothing is kept of {inquest.unknown} of these {total} nights."
    yield CANNOT_BE_KNOWN
    if "rot" in inquest.what.lower():
        yield "Rot comes from crowns that stay wet overnight, and from cold: consider both."


def _root_lines(inquest: Inquest, voice: Voice) -> Iterator[str]:
    salt, water = inquest.salt, inquest.water
    if salt is not None:
        over = ": more than it can take" if salt.ec > salt.limit.value else ""
        yield f"Salts at its roots now: {salt_words.told(salt, voice)}{over}."
    if water is not None:
        kept_above = 1 - water_use_of(inquest.plant).depletion
        day = voice.day(voice.site.local_date(water.at))
        yield (
            f"Its pot on {day}: {percent(water.share)} of its water left, give or take"
            f" {percent(water.sd)}; kept above {percent(kept_above)}."
        )


def news_lines(
    plant: str, news: LimitNews, year: YearOfNights | None, voice: Voice
) -> Iterator[str]:
    """Yield what was learned, and what is proposed."""
    yield learned_line(news, voice)
    if not news.changes:
        if news.counted:
            yield f"Nothing is proposed: {_why_nothing(news)}."
        return
    changes = ", ".join(
        f"{change.name} {voice.bound(change.was)} -> {voice.bound(change.value)}"
        for change in news.changes
    )
    yield f"Proposed: {changes}"
    if year is not None:
        yield cost_line(news, year, voice)
    yield f"In trips, by a replay of that year (takes a minute): sillward damage --replay {plant}"
    if not news.raises:
        yield "Nights without damage prove little: lower it only if carrying is a burden."
    yield f"Accept: sillward damage --accept {plant}"
    keys = ", ".join(f"{change.name} = {change.value:g}" for change in news.changes)
    yield f"Or in your file, in °C: limits = {{ {keys} }}"


def no_damage_lines(
    plant: str, nights: Sequence[HarmfulNight], today: date, voice: Voice
) -> Iterator[str]:
    """Yield what it means that somebody has looked and sees no damage."""
    over = [night for night in nights if night.answered_at is not None]
    later = [day for night in nights if (day := next_question(night, today)) is not None]
    if over:
        yield f"noted: {plant} took no harm in {_nights(over, voice)}"
        if not any(night.is_known for night in over):
            yield "Nobody has said where it stood then, so nothing is learned about its limits."
    if later:
        younger = [night for night in nights if night.answered_at is None]
        yield (
            f"noted: no damage to {plant} so far, after {_nights(younger, voice)}. It can show up"
            f" to two weeks later: look again on {voice.day(min(later))}."
        )


def _nights(nights: Sequence[HarmfulNight], voice: Voice) -> str:
    """Return nights in words: "the night from Wed 17 Jun to Thu 18 Jun (5.5 °C)"."""
    coldest = min(nights, key=lambda night: night.low_c)
    on, low = voice.day(coldest.night), voice.degrees(coldest.low_c)
    if len(nights) == 1:
        return f"{night_in_words(coldest.night, voice)} ({low})"
    return f"{len(nights)} cold nights, the coldest {on} ({low})"


def _why_nothing(news: LimitNews) -> str:
    if news.damaged or news.unharmed >= LEAST_UNHARMED:
        return "the limits it has allow for that"
    return f"a lower limit takes {LEAST_UNHARMED} cold spells without damage"


def learned_line(news: LimitNews, voice: Voice) -> str:
    """Return what is believed: "Learned from 2 cold spells without damage: it is harmed from about
    7.4 °C down, give or take 1.5; before, 9.0 °C was assumed."""
    if not news.counted:
        harmed = _harmed(news.prior, voice)
        return f"It is taken to be {harmed}; none of its own nights has told more."
    others = f", and {news.others} of plants of its kind" if news.others else ""
    return (
        f"Learned from {_outcomes(news)}{others}: it is {_harmed(news.after, voice)}; before,"
        f" {voice.degrees(news.prior.mean_c)} was assumed."
    )


def _outcomes(news: LimitNews) -> str:
    damaged = "1 night with damage" if news.damaged == 1 else f"{news.damaged} nights with damage"
    spells = "1 cold spell" if news.unharmed == 1 else f"{news.unharmed} cold spells"
    if not news.unharmed:
        return damaged
    return f"{damaged} and {spells} without" if news.damaged else f"{spells} without damage"


def _harmed(belief: Belief, voice: Voice) -> str:
    off = fixed(voice.units.difference(belief.sd_k)[0], 1)
    return f"harmed from about {voice.degrees(belief.mean_c)} down, give or take {off}"


def cost_line(news: LimitNews, year: YearOfNights, voice: Voice) -> str:
    """Return how many more evenings the proposal means, by the nights of the last year."""
    change = next((each for each in news.changes if each.name == "night_low"), news.changes[0])
    before, after = year.under.get(change.was), year.under.get(change.value)
    if before is None or after is None:
        return ""
    way = "more" if after >= before else "fewer"
    return (
        f"Nights of the last year at its home ({year.nights} are known): {before} under"
        f" {voice.bound(change.was)}, {after} under {voice.bound(change.value)}. That is up to"
        f" {abs(after - before)} {way} evenings to carry it in."
    )
