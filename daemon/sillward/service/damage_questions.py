"""Questions about cold nights, and limits that are proposed, on the sheets of morning and week.

Symptoms of cold show a day to two weeks later, so the grower is asked after 3, 7 and 14 days. A
look that finds no damage answers one of these; only the last of them teaches. No answer teaches
nothing.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta

from sillward.ledger import Ledger
from sillward.ledger.tables.harmful_nights import HarmfulNight
from sillward.service.limit_news import news_of
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.learned_limit import spells
from sillward_rules.remark import DamageAsked, LimitProposed, Remark
from sillward_rules.sheet import Round, Sheet

ASKED_AFTER = (3, 7, 14)
"""Days after a cold night on which it is asked about. Source: chilling of 15 Spathiphyllum showed
after one to five days (Qu et al. 2000), in two of 22 foliage plants after two weeks (both read in
abstracts); the steps are judgement."""

QUIET_DAYS = 3
"""So many days after a question, or a look, nothing is asked about the plant. Judgement: the nights
of one cold spell are looked at together."""

IGNORED_WITHIN = timedelta(days=60)
"""Where nobody has answered about a plant for so long, its next cold spell is asked about once, on
the day that teaches. Judgement."""

GIVEN_UP_AFTER = 17
"""After so many days it is not asked about any more. Judgement: a weekend is missed."""

MOST_NIGHTS = 2
"""Nights that one sheet asks about. Judgement: a question that is not answered comes again."""

MOST_PROPOSED = 3
"""Limits that one week sheet proposes. Judgement; `sillward damage` has each plant's."""


def with_damage_questions(sheet: Sheet, collection: Collection, ledger: Ledger) -> Sheet:
    """Return a sheet of a morning with what is asked about cold nights, or one of a week with the
    limits that are proposed."""
    if sheet.round is Round.MORNING:
        said: Sequence[Remark] = questions(ledger, collection, sheet.at)
    elif sheet.round is Round.WEEK:
        said = proposals(ledger, collection)[:MOST_PROPOSED]
    else:
        return sheet
    return replace(sheet, warnings=(*sheet.warnings, *said)) if said else sheet


def next_question(night: HarmfulNight, today: date) -> date | None:
    """Return the day after today on which a night is asked about; None if it is not any more."""
    return next((day for day in _steps(night) if day > today), None)


def open_questions(ledger: Ledger, collection: Collection, now: datetime) -> list[HarmfulNight]:
    """Return the nights that wait for an answer: of each cold spell of a plant the coldest, if
    nobody has looked since it was last to be asked about."""
    site = collection.site
    today = site.local_date(now)

    def waits(night: HarmfulNight) -> bool:
        step = _last_step(night, today)
        looked = None if night.looked_at is None else site.local_date(night.looked_at)
        return step is not None and (looked is None or looked < step)

    since = today - timedelta(days=GIVEN_UP_AFTER)
    coldest = [
        min(spell, key=lambda night: night.low_c)
        for nights in _unanswered(ledger, collection, today - IGNORED_WITHIN).values()
        for spell in spells(nights, _day_of)
    ]
    return [night for night in coldest if night.night >= since and waits(night)]


def _unanswered(
    ledger: Ledger, collection: Collection, since: date
) -> dict[str, list[HarmfulNight]]:
    """Return the nights from a date on that are not answered, by plant."""
    found: dict[str, list[HarmfulNight]] = {}
    names = {plant.name for plant in collection.plants}
    for night in ledger.harmful_nights.unanswered(collection.site.name, since):
        if night.plant in names:
            found.setdefault(night.plant, []).append(night)
    return found


def _day_of(night: HarmfulNight) -> date:
    return night.night


def _steps(night: HarmfulNight) -> list[date]:
    """Return the days from which on a night is asked about."""
    over = night.night + timedelta(
        days=1
    )  # a night ends on the day after the evening that names it
    return [over + timedelta(days=days) for days in ASKED_AFTER]


def _last_step(night: HarmfulNight, today: date) -> date | None:
    return next((day for day in reversed(_steps(night)) if day <= today), None)


def questions(ledger: Ledger, collection: Collection, now: datetime) -> list[DamageAsked]:
    """Return what is asked on a morning: of each plant about the coldest of the nights that are
    due, plants of one night together."""
    due = _due(ledger, collection, now)
    coldest: dict[str, HarmfulNight] = {}
    for night in due:
        known = coldest.get(night.plant)
        if known is None or night.low_c < known.low_c:
            coldest[night.plant] = night
    by_night: dict[date, list[HarmfulNight]] = {}
    for night in sorted(coldest.values(), key=lambda night: (night.low_c, night.plant)):
        by_night.setdefault(night.night, []).append(night)
    found = [
        DamageAsked(tuple(night.plant for night in nights), day, nights[0].low_c, nights[0].is_read)
        for day, nights in by_night.items()
    ]
    return found[:MOST_NIGHTS]


def remember(sheet: Sheet, collection: Collection, ledger: Ledger, now: datetime) -> None:
    """Note that what a morning asks has been asked."""
    asked = {
        name
        for remark in sheet.warnings
        if isinstance(remark, DamageAsked)
        for name in remark.plants
    }
    if asked:
        nights = [night for night in _due(ledger, collection, now) if night.plant in asked]
        ledger.harmful_nights.mark_asked(collection.site.name, nights, now)


def _due(ledger: Ledger, collection: Collection, now: datetime) -> list[HarmfulNight]:
    """Return the nights that are to be asked about today, also those that were today already."""
    site = collection.site
    today = site.local_date(now)
    earlier = _unanswered(ledger, collection, today - IGNORED_WITHIN)

    def is_due(night: HarmfulNight) -> bool:
        asked = None if night.asked_at is None else site.local_date(night.asked_at)
        if asked == today:
            return True
        nights = earlier[night.plant]
        said = [at for each in nights for at in (each.asked_at, each.looked_at) if at is not None]
        if said and (today - site.local_date(max(said))).days < QUIET_DAYS:
            return False
        step = _last_step(night, today)
        if _is_ignored(nights, night) and step != _steps(night)[-1]:
            return False
        return asked is None or step is None or asked < step

    return [night for night in open_questions(ledger, collection, now) if is_due(night)]


def _is_ignored(nights: Sequence[HarmfulNight], night: HarmfulNight) -> bool:
    """Whether nobody has answered any question about an earlier night of a plant."""
    given_up = night.night - timedelta(days=ASKED_AFTER[-1])
    asked = [each for each in nights if each.night <= given_up and each.asked_at is not None]
    return bool(asked) and all(each.looked_at is None for each in nights)


def proposals(ledger: Ledger, collection: Collection) -> list[LimitProposed]:
    """Return the limits that are proposed, in the order of the collection."""
    answered = {night.plant for night in ledger.harmful_nights.answered(collection.site.name)}
    return [
        LimitProposed(
            plant.name,
            news.changes[0].name,
            news.changes[0].was,
            news.changes[0].value,
            news.damaged,
            news.unharmed,
        )
        for plant in collection.plants
        if plant.name in answered
        and (news := news_of(ledger, collection, plant)) is not None
        and news.changes
    ]
