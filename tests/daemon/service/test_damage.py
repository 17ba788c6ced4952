"""Damage as it is told: which night did it, what would have kept the plant in, what is learned."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np
import pytest

from sillward.errors import UsageError
from sillward.ledger import Ledger
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.ledger.tables.harmful_nights import HarmfulNight
from sillward.ledger.tables.readings import HandReading
from sillward.readings.spot_lesson import lesson_of
from sillward.reports import damage as report
from sillward.reports import damage_document
from sillward.service import answers
from sillward.service.accepted_limits import accept, applied
from sillward.service.damage import (
    inquest_of,
    last_damage,
    learn,
    learn_from_diary,
    no_damage,
)
from sillward.service.inquest import Inquest, KeptIn, year_of_nights
from sillward.service.limit_news import LimitNews, news_of
from sillward.wording.voice import Voice
from sillward_rules.chore import ChoreKind
from sillward_rules.plants.care import Care
from sillward_rules.plants.limits import Limit
from sillward_rules.plants.pot import Pot
from sillward_rules.plants.pot_water import PotWater
from sillward_rules.plants.salt_balance import SaltBalance
from sillward_rules.plants.state import PlantState
from sillward_rules.plants.water_chemistry import Water
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.weather.night_summary import NightForecast
from sillward_rules.weather.sun import night_of
from tests.support.chores import a_chore
from tests.support.desks import DAY, SITE, a_household, local

HOUSEHOLD = a_household()
COLLECTION = HOUSEHOLD.collection
PLANT = COLLECTION.plants[0]
COLD = DAY - timedelta(days=4)
NOW = local("17:00")


def told(ledger: Ledger, night: date, low_c: float, lead_h: float = 10.0) -> None:
    """A forecast of a night."""
    low_at = night_of(SITE, night).end - timedelta(hours=1)
    low_at = low_at.replace(minute=0, second=0, microsecond=0)
    forecast = NightForecast(night, lead_h, low_c, low_at, low_c - 5, 2.0, 0.5, low_c + 12)
    ledger.nights.keep(SITE.name, "model", low_at - timedelta(hours=lead_h), [forecast])


@pytest.fixture
def ledger() -> Ledger:
    """Mild nights at the bench, but for one at 5 °C; the plant is known to stand there."""
    made = Ledger(":memory:")
    for back in range(30, 0, -1):
        night = DAY - timedelta(days=back)
        told(made, night, 5.0 if night == COLD else 14.0)
    answers.move(made, SITE.name, PLANT.name, "bench", local("12:00", DAY - timedelta(days=25)))
    return made


def seen(ledger: Ledger, what: str = "soft tissue", at: datetime = NOW) -> DiaryEntry:
    entry = DiaryEntry(PLANT.name, at, NOW, EntryKind.DAMAGE, "", "Ana", None, what, "some")
    return ledger.diary.add(SITE.name, [entry])[0]


def looked_into(ledger: Ledger, entry: DiaryEntry | None) -> Inquest:
    state = ledger.plant_states.of_site(SITE.name).get(PLANT.name)
    return inquest_of(ledger, COLLECTION, ["model"], PLANT, state, entry, NOW)


def learned(ledger: Ledger) -> LimitNews:
    collection = applied(HOUSEHOLD, ledger).collection
    news = news_of(ledger, collection, collection.plants[0])
    assert news is not None
    return news


def answered(
    ledger: Ledger, plant: str, low_c: float, *, damaged: bool, back: int = 0
) -> HarmfulNight:
    night = DAY - timedelta(days=40 + back)
    kept = HarmfulNight(plant, night, low_c, 1.0, True, True, 8.0, NOW, NOW, NOW, damaged)
    ledger.harmful_nights.keep(SITE.name, kept)
    if damaged:
        entry = DiaryEntry(plant, NOW, NOW, EntryKind.DAMAGE, "", None, None, "soft", "some")
        ledger.diary.add(SITE.name, [entry])
    return kept


def test_the_cold_night_is_found_and_what_would_have_kept_it_in(ledger: Ledger) -> None:
    told(ledger, COLD, 9.0, lead_h=20.0)  # at dusk it was said to be milder

    found = looked_into(ledger, seen(ledger))

    assert found.coldest is not None
    assert found.coldest.day == COLD
    assert found.coldest.low_c == pytest.approx(5.0, abs=0.3)
    assert found.unknown == 0
    assert found.kept_in is not None
    assert found.kept_in.told_c == pytest.approx(9.0, abs=0.3)
    assert found.kept_in.limit_c in (9.0, 9.5)
    assert not found.kept_in.ordered


@pytest.mark.parametrize(
    ("told_c", "said"),
    [(8.0, "a limit of 8.5 °C or more would have kept it in"), (12.0, "the forecast was wrong")],
)
def test_a_forecast_that_missed_a_night_is_no_matter_of_limits(
    ledger: Ledger, told_c: float, said: str
) -> None:
    found = looked_into(ledger, seen(ledger))
    kept_in = KeptIn(told_c, told_c + 0.5, ordered=False, confirmed=False)

    (line,) = report.kept_in_lines(replace(found, kept_in=kept_in), Voice(SITE))
    assert said in line


def test_a_reading_comes_before_the_forecast(ledger: Ledger) -> None:
    at = night_of(SITE, COLD).end
    reading = HandReading("bench", Quantity.TEMPERATURE, 2.0, at, COLD)
    ledger.readings.add_by_hand(SITE.name, reading, at)

    night = looked_into(ledger, seen(ledger)).coldest
    assert night is not None
    assert night.is_read
    assert night.low_c == pytest.approx(2.0, abs=0.3)


def test_an_order_that_nobody_confirmed_is_no_matter_of_limits(ledger: Ledger) -> None:
    chore = a_chore(f"{COLD}-carry-in-bench-room", local("18:00", COLD), ChoreKind.CARRY_IN,
                    [PLANT.name])  # fmt: skip
    ledger.keep_round(SITE.name, "dusk", COLD, local("17:00", COLD), notices=[], chores=[chore],
                      states_now={})  # fmt: skip

    found = looked_into(ledger, seen(ledger))
    assert found.kept_in is not None
    assert (found.kept_in.ordered, found.kept_in.confirmed) == (True, False)
    assert found.kept_in.limit_c is None
    assert found.coldest is not None
    assert not found.coldest.is_known or found.coldest.spot == "bench"


def test_damage_moves_the_limits_and_what_is_accepted_is_not_proposed_again(
    ledger: Ledger,
) -> None:
    entry = seen(ledger)
    night = learn(ledger, SITE.name, looked_into(ledger, entry), entry, NOW)
    assert night is not None
    assert (night.night, night.damaged, night.answered_at) == (COLD, True, entry.entered_at)

    news = learned(ledger)
    assert (news.damaged, news.unharmed, news.others) == (1, 0, 0)
    assert news.after.mean_c > news.prior.mean_c
    (change,) = news.changes  # its only limit of cold is night_low
    assert (change.name, change.was) == ("night_low", 8.0)
    assert change.value > 8.0
    assert news.because == f"after damage in the night of {COLD}"

    accept(ledger, SITE.name, PLANT.name, news.changes, NOW, "Ana", news.because)
    assert learned(ledger).changes == ()


def test_damage_that_is_deleted_from_the_diary_teaches_nothing(ledger: Ledger) -> None:
    entry = seen(ledger)
    learn(ledger, SITE.name, looked_into(ledger, entry), entry, NOW)
    ledger.diary.remove(SITE.name, entry.id)

    assert learned(ledger).damaged == 0
    assert learned(ledger).changes == ()


def test_nothing_is_learned_where_nobody_knows_where_the_plant_was(ledger: Ledger) -> None:
    entry = seen(ledger)
    other = COLLECTION.plants[1]
    order = a_chore(f"{COLD}-carry-in-bench-room", local("18:00", COLD), ChoreKind.CARRY_IN,
                    [other.name])  # fmt: skip
    ledger.keep_round(SITE.name, "dusk", COLD, local("17:00", COLD), notices=[], chores=[order],
                      states_now={})  # fmt: skip
    found = inquest_of(ledger, COLLECTION, ["model"], other, None, entry, NOW)

    assert found.coldest is not None
    assert learn(ledger, SITE.name, found, entry, NOW) is None


def test_a_plant_that_was_never_told_to_move_stood_at_home() -> None:
    ledger = Ledger(":memory:")
    for back in range(30, 0, -1):
        night = DAY - timedelta(days=back)
        told(ledger, night, 5.0 if night == COLD else 14.0)
    entry = seen(ledger)

    found = looked_into(ledger, entry).coldest
    assert found is not None
    assert (found.spot, found.is_known, found.is_unmoved) == ("bench", False, True)
    assert learn(ledger, SITE.name, looked_into(ledger, entry), entry, NOW) is not None
    text = report.text(looked_into(ledger, entry), entry, None, None, Voice(SITE))
    assert "at bench, its home" in " ".join(text.split())


def test_where_nobody_knows_where_a_plant_was_that_is_said(ledger: Ledger) -> None:
    order = a_chore(f"{DAY}-carry-in-bench-room", local("18:00", DAY - timedelta(days=9)),
                    ChoreKind.CARRY_IN, [COLLECTION.plants[1].name])  # fmt: skip
    ledger.keep_round(SITE.name, "dusk", DAY - timedelta(days=9), local("17:00"), notices=[],
                      chores=[order], states_now={})  # fmt: skip
    found = inquest_of(ledger, COLLECTION, ["model"], COLLECTION.plants[1], None, seen(ledger), NOW)

    assert found.coldest is not None
    assert not found.coldest.is_unmoved
    text = " ".join(report.text(found, None, None, None, Voice(SITE)).split())
    assert "Nobody has said where it stood that night, so nothing is learned from it" in text


def test_what_was_expected_that_evening_does_not_know_what_was_read_later(ledger: Ledger) -> None:
    for back, low_c in ((6, 13.0), (4, 2.0), (2, 10.0)):
        night = DAY - timedelta(days=back)
        at = night_of(SITE, night).end
        reading = HandReading("bench", Quantity.TEMPERATURE, low_c, at, night)
        ledger.readings.add_by_hand(SITE.name, reading, at)
    told(ledger, COLD, 9.0, lead_h=20.0)
    spot = COLLECTION.spot("bench")
    lesson = lesson_of(ledger, SITE, spot, ["model"], NOW - timedelta(days=30))
    assert lesson is not None
    spots = [replace(spot, learned=lesson.course.learned), COLLECTION.spot("room")]
    taught = COLLECTION.with_spots(tuple(spots))
    state = ledger.plant_states.of_site(SITE.name).get(PLANT.name)

    found = inquest_of(ledger, taught, ["model"], PLANT, state, seen(ledger), NOW)

    assert found.coldest is not None
    assert found.coldest.low_c == pytest.approx(2.0, abs=0.3)
    assert found.kept_in is not None
    assert found.kept_in.told_c is not None
    assert 8.0 < found.kept_in.told_c < 9.3


def test_damage_that_looks_like_sun_is_not_put_down_to_a_slightly_cool_night(
    ledger: Ledger,
) -> None:
    told(ledger, COLD, 7.6)
    entry = seen(ledger, "bleached")

    assert learn(ledger, SITE.name, looked_into(ledger, entry), entry, NOW) is None


def test_damage_counts_however_it_was_entered_and_once(ledger: Ledger) -> None:
    seen(ledger)
    states = ledger.plant_states.of_site(SITE.name)

    assert learn_from_diary(ledger, COLLECTION, ["model"], states, NOW) == 1
    assert learn_from_diary(ledger, COLLECTION, ["model"], states, NOW) == 0
    assert learned(ledger).damaged == 1


def test_damage_long_ago_is_not_looked_into(ledger: Ledger) -> None:
    seen(ledger, at=NOW - timedelta(days=30))

    assert last_damage(ledger, SITE.name, PLANT.name, NOW) is None
    assert learn_from_diary(ledger, COLLECTION, ["model"], {}, NOW) == 0


def noted(ledger: Ledger, night: date = COLD, *, is_known: bool = True) -> HarmfulNight:
    made = HarmfulNight(PLANT.name, night, 5.0, 1.3, False, is_known, 8.0, NOW)
    ledger.harmful_nights.note(SITE.name, [made])
    return made


def test_a_look_before_two_weeks_are_over_is_no_answer_yet(ledger: Ledger) -> None:
    noted(ledger)

    (night,) = no_damage(ledger, SITE, PLANT, (), NOW, "Ana")
    assert (night.night, night.looked_at, night.answered_at) == (COLD, NOW, None)
    assert learned(ledger).counted == 0

    entry = seen(ledger)
    damaged = learn(ledger, SITE.name, looked_into(ledger, entry), entry, NOW)
    assert damaged is not None
    assert (damaged.night, damaged.damaged) == (COLD, True)


def test_a_look_after_two_weeks_is_one(ledger: Ledger) -> None:
    noted(ledger)
    later = NOW + timedelta(days=11)  # the night was over fourteen days before

    assert no_damage(ledger, SITE, PLANT, (), later - timedelta(days=1), None)[0].damaged is None
    (night,) = no_damage(ledger, SITE, PLANT, (), later, "Ana")
    assert (night.night, night.damaged, night.person) == (COLD, False, "Ana")
    assert learned(ledger).unharmed == 1


def test_a_look_without_a_question_is_about_the_coldest_night(ledger: Ledger) -> None:
    nights = looked_into(ledger, None).nights

    (night,) = no_damage(ledger, SITE, PLANT, nights, NOW, None)
    assert (night.night, night.looked_at, night.answered_at) == (COLD, NOW, None)
    mild = [each for each in nights if each.low_c > 10]
    with pytest.raises(UsageError, match="nothing can be learned"):
        no_damage(Ledger(":memory:"), SITE, PLANT, mild, NOW, None)


def test_no_damage_since_does_not_undo_damage(ledger: Ledger) -> None:
    entry = seen(ledger)
    learn(ledger, SITE.name, looked_into(ledger, entry), entry, NOW)
    nights = looked_into(ledger, None).nights

    with pytest.raises(UsageError, match="nothing can be learned"):
        no_damage(ledger, SITE, PLANT, nights, NOW, None)
    assert learned(ledger).damaged == 1


def test_a_night_that_the_plant_may_have_spent_inside_proves_nothing(ledger: Ledger) -> None:
    noted(ledger, is_known=False)

    no_damage(ledger, SITE, PLANT, (), NOW + timedelta(days=12), None)
    assert (learned(ledger).unharmed, learned(ledger).counted) == (0, 0)


def test_nights_of_one_cold_spell_are_one_piece_of_evidence(ledger: Ledger) -> None:
    for back in range(3):
        answered(ledger, PLANT.name, 2.0 + back, damaged=False, back=back)

    news = learned(ledger)
    assert (news.unharmed, news.counted) == (1, 1)
    assert news.changes == ()


def test_a_lower_limit_takes_several_cold_spells_without_damage(ledger: Ledger) -> None:
    answered(ledger, PLANT.name, 2.0, damaged=False)
    assert learned(ledger).changes == ()

    for back in range(1, 9):
        answered(ledger, PLANT.name, 2.0, damaged=False, back=7 * back)
    news = learned(ledger)
    assert (news.unharmed, news.counted) == (9, 3)
    assert news.because == "after 9 cold spells without damage"
    assert not news.raises
    assert -2.0 <= news.changes[0].value - 8.0 < 0


def test_plants_of_one_group_teach_each_other(ledger: Ledger) -> None:
    plants = tuple(replace(plant, groups=("cattleya",)) for plant in COLLECTION.plants)
    alike = replace(COLLECTION, plants=plants)
    outcomes = [(9.0, False), (8.0, True), (7.5, False), (7.0, True), (6.5, True), (8.5, False)]
    for back, (low_c, damaged) in enumerate(outcomes):
        answered(ledger, plants[1].name, low_c, damaged=damaged, back=7 * back)

    news = news_of(ledger, alike, plants[0])
    alone = news_of(ledger, COLLECTION, PLANT)
    assert news is not None
    assert alone is not None
    assert (news.others, alone.others) == (6, 0)
    assert alone.prior.mean_c < news.prior.mean_c < 8.5
    assert news.prior.sd_k < alone.prior.sd_k


ALIKE = replace(
    COLLECTION,
    plants=tuple(replace(plant, groups=("cattleya",)) for plant in COLLECTION.plants),
)
USED_C = 4.0
"""The limit of injury that follows from the night_low of these plants."""


def others_say(ledger: Ledger, middle_c: float) -> None:
    """Nights of another plant of the group: half are damaged about this temperature."""
    for back, off_c in enumerate((-2.0, -1.0, -0.5, 0.5, 1.0, 2.0)):
        low_c, damaged = middle_c + off_c, off_c < 0
        answered(ledger, ALIKE.plants[1].name, low_c, damaged=damaged, back=7 * back)
    answered(ledger, ALIKE.plants[1].name, middle_c + 0.7, damaged=True, back=70)
    answered(ledger, ALIKE.plants[1].name, middle_c - 0.7, damaged=False, back=77)


@pytest.mark.parametrize("middle_c", [0.0, 4.0, 8.0])
@pytest.mark.parametrize(("low_c", "damaged"), [(4.2, False), (1.0, False), (3.5, True)])
def test_no_proposal_is_less_safe_than_what_is_believed(
    ledger: Ledger, middle_c: float, low_c: float, damaged: bool
) -> None:
    others_say(ledger, middle_c)
    for back in range(1 if damaged else 3):
        answered(ledger, PLANT.name, low_c + 0.1 * back, damaged=damaged, back=7 * back)

    news = news_of(ledger, ALIKE, ALIKE.plants[0])
    assert news is not None
    assert news.others
    shift_k = sum(change.value - change.was for change in news.changes)
    if shift_k < 0:
        assert USED_C + shift_k >= news.after.mean_c
    else:
        assert USED_C + shift_k == pytest.approx(max(USED_C, news.after.mean_c), abs=0.26)


def test_who_has_raised_the_limit_in_the_file_is_not_told_to_by_the_same_damage(
    ledger: Ledger,
) -> None:
    entry = seen(ledger)
    learn(ledger, SITE.name, looked_into(ledger, entry), entry, NOW)
    (change,) = learned(ledger).changes

    def with_file(night_low: float) -> LimitNews:
        limits = replace(PLANT.limits, night_low=Limit(night_low, "your own limit"))
        plant = replace(PLANT, limits=limits)
        collection = replace(COLLECTION, plants=(plant, *COLLECTION.plants[1:]))
        state = ledger.plant_states.of_site(SITE.name).get(PLANT.name)
        found = inquest_of(ledger, collection, ["model"], plant, state, entry, NOW)
        learn(ledger, SITE.name, found, entry, NOW)  # it is looked into once more
        news = news_of(ledger, collection, plant)
        assert news is not None
        return news

    assert with_file(change.value).changes == ()
    assert with_file(change.value + 1.0).changes == ()
    (rest,) = with_file(change.value - 1.0).changes
    assert (rest.was, rest.value) == (change.value - 1.0, change.value)


def test_a_lower_limit_that_is_accepted_is_not_proposed_again_and_damage_raises_it(
    ledger: Ledger,
) -> None:
    for back in range(3):
        answered(ledger, PLANT.name, 1.0, damaged=False, back=7 * back)
    news = learned(ledger)
    (lower,) = news.changes
    accept(ledger, SITE.name, PLANT.name, news.changes, NOW, None, news.because)
    assert learned(ledger).changes == ()

    answered(ledger, PLANT.name, 3.0, damaged=True, back=30)
    (higher,) = learned(ledger).changes
    assert (higher.was, higher.given) == (lower.value, 8.0)
    assert higher.value >= 8.0


def test_what_a_limit_costs_is_told_in_nights_of_the_last_year(ledger: Ledger) -> None:
    year = year_of_nights(ledger, COLLECTION, PLANT, [8.0, 16.0], NOW)

    assert year is not None
    assert year.nights >= 28
    assert year.under[8.0] == 1
    assert year.under[16.0] == year.nights
    assert year_of_nights(Ledger(":memory:"), COLLECTION, PLANT, [8.0], NOW) is None


def test_the_water_and_the_salts_at_the_roots_are_told_beside_the_nights(ledger: Ledger) -> None:
    plant = replace(PLANT, pot=Pot(10.0, "bark"))
    water = PotWater(NOW - timedelta(hours=9), 0.2, 0.1)
    care = Care(water=water, salt=SaltBalance(NOW - timedelta(hours=9), 4.0, 0.2))
    state = PlantState("bench", care=care)
    wet = replace(COLLECTION, water=Water(0.9))
    entry = seen(ledger, "burnt tips")

    found = inquest_of(ledger, wet, ["model"], plant, state, entry, NOW)
    text = " ".join(report.text(found, entry, None, None, Voice(SITE)).split())
    assert "Salts at its roots now: EC 4.0 ± 0.2 mS/cm when wet, limit" in text
    assert "more than it can take" in text
    assert "Its pot on Thu 14 May: 20 % of its water left, give or take 10 %; kept above" in text
    assert damage_document.document(found, entry, None, None)["salt"]["ec"] == 4.0


def test_without_a_forecast_of_these_nights_that_is_said() -> None:
    found = looked_into(Ledger(":memory:"), None)

    assert (found.suspects, found.unknown) == ((), 21)
    text = report.text(found, None, None, None, Voice(SITE))
    assert "Nothing known points to damage" in text
    assert "Nothing is kept of 21 of these 21 nights." in text


def test_the_report_tells_the_night_the_limit_and_the_proposal(ledger: Ledger) -> None:
    entry = seen(ledger)
    found = looked_into(ledger, entry)
    learn(ledger, SITE.name, found, entry, NOW)
    news = learned(ledger)
    limits = [each for change in news.changes for each in (change.was, change.value)]
    year = year_of_nights(ledger, COLLECTION, PLANT, limits, NOW)

    text = " ".join(report.text(found, entry, news, year, Voice(SITE)).split())
    assert "Left pot: damage seen Thu 14 May (soft tissue, some)" in text
    assert "In the night from Sun 10 May to Mon 11 May: leaf about 5.0 °C (±1.3)" in text
    assert "limit 8 °C, " in text
    assert "under: most likely" in text
    assert f"Proposed: night_low 8 °C -> {news.changes[0].value:g} °C" in text
    assert "Accept: sillward damage --accept Left pot" in text
    assert "Not known: rain" in text
    assert "are known): 1 under 8 °C, " in text
    calm = " ".join(report.text(found, None, None, None, Voice(SITE)).split())
    assert "no damage noted recently" in calm
    assert "most likely" not in calm
    document = damage_document.document(found, entry, news, year)
    assert document["suspects"][0]["cause"] == "cold"
    assert document["learned"]["proposed"]["night_low"]["was"] == 8.0
    assert np.isfinite(document["learned"]["after"]["mean_c"])
