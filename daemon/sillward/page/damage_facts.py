"""Damage and limits on the page of a plant: what is asked, what was found, what is proposed."""

from dataclasses import dataclass, replace
from typing import Any

from sillward.ledger.tables.diary import DiaryEntry
from sillward.page.visit import Visit
from sillward.reports import damage as report
from sillward.service import accepted_limits, damage, damage_questions
from sillward.service.inquest import Inquest, year_of_nights
from sillward.service.limit_news import LimitNews, news_of
from sillward_rules.plants.plant import Plant


@dataclass(frozen=True, slots=True)
class DamageTold:
    """What the section says, in words; empty where there is nothing to say.

    Args:
        asked: cold nights of which it is asked whether damage shows.
        seen: what was noted last, and the suspects with what else is known of it.
        learned: what is believed of its limit of injury by now.
        proposed: what is proposed, and what it costs; offer: the proposal for its form.
        accepted: what was accepted and counts; void: what was accepted and does not.
    """

    asked: tuple[str, ...] = ()
    seen: str = ""
    suspects: tuple[str, ...] = ()
    about: tuple[str, ...] = ()
    learned: str = ""
    proposed: tuple[str, ...] = ()
    offer: str = ""
    accepted: tuple[str, ...] = ()
    void: tuple[str, ...] = ()

    @property
    def is_empty(self) -> bool:
        """Whether there is nothing to say."""
        return self == DamageTold()


def offer_of(news: LimitNews) -> str:
    """Return a proposal as its form sends it: what is accepted is what was shown."""
    return ",".join(f"{change.name}={change.value:g}" for change in news.changes)


def damage_told(visit: Visit, plant: Plant) -> DamageTold:
    """Return what is known of damage to a plant, and what follows."""
    context, voice = visit.context, visit.voice
    ledger, site = context.ledger, context.site
    entry = damage.last_damage(ledger, site.name, plant.name, visit.now)
    inquest = None if entry is None else _inquest(visit, plant, entry)
    news = news_of(ledger, context.household.collection, plant)
    void = [
        f"{limit.name} {voice.bound(limit.value)}"
        for limit in accepted_limits.void(context.household, ledger)
        if limit.plant == plant.name
    ]
    accepted = [
        f"{name} {voice.bound(limit.value)} (was {voice.bound(limit.was.value)})"
        for name in accepted_limits.COLD_LIMITS
        if (limit := getattr(plant.limits, name)) is not None and limit.was is not None
    ]
    nights = damage_questions.open_questions(ledger, context.household.collection, visit.now)
    asked = [
        f"{voice.day(night.night)}: {'' if night.is_read else 'about '}{voice.degrees(night.low_c)}"
        for night in nights
        if night.plant == plant.name
    ]
    told = DamageTold(
        asked=tuple(asked), accepted=tuple(accepted), void=tuple(void), **_found(visit, inquest)
    )
    if news is None or not (news.counted or news.changes):
        return told
    return _with_news(visit, plant, told, news)


def _inquest(visit: Visit, plant: Plant, entry: DiaryEntry) -> Inquest:
    """Look into damage. What was found is kept while nothing changes that it rests on."""
    context = visit.context
    sources = [source.name for source in context.forecasts.sources]
    state = context.states().get(plant.name)
    return visit.desk.worked_out(
        ("inquest", plant.name, entry),
        lambda: damage.inquest_of(
            context.ledger, context.taught_collection, sources, plant, state, entry, visit.now
        ),
    )


def _found(visit: Visit, inquest: Inquest | None) -> dict[str, Any]:
    if inquest is None:
        return {}
    voice = visit.voice
    suspects = [
        report.suspect_line(suspect, number, voice)
        for number, suspect in enumerate(report.shown_of(inquest))
    ]
    return {
        "seen": voice.day(inquest.seen),
        "suspects": tuple(suspects),
        "about": (*report.kept_in_lines(inquest, voice), *report.unknown_lines(inquest, voice)),
    }


def _with_news(visit: Visit, plant: Plant, told: DamageTold, news: LimitNews) -> DamageTold:
    """Return it with what was learned, and with the proposal if there is one."""
    voice, context = visit.voice, visit.context
    told = replace(told, learned=report.learned_line(news, voice))
    if not news.changes:
        return told
    limits = tuple(limit for change in news.changes for limit in (change.was, change.value))
    year = visit.desk.worked_out(
        ("year of nights", plant.home, limits),
        lambda: year_of_nights(context.ledger, context.taught_collection, plant, limits, visit.now),
    )
    lines = [
        f"{change.name} {voice.bound(change.value)} instead of {voice.bound(change.was)}"
        for change in news.changes
    ]
    cost = [] if year is None else [report.cost_line(news, year, voice)]
    return replace(told, proposed=(*lines, *cost), offer=offer_of(news))
