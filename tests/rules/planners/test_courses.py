"""Several feeds and courses: who gets what on which morning, and what is said of it."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest

from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.planners.strength import too_strong_for
from sillward_rules.plants.care import Care
from sillward_rules.plants.care_merging import with_answers
from sillward_rules.plants.collection import Collection, Habits, Recipe
from sillward_rules.plants.course_progress import CourseProgress, Dose
from sillward_rules.plants.feeds import Course, Feed
from sillward_rules.plants.fertiliser import SALTS, Fertiliser, Mix
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.pot_water import PotLook, PotWater
from sillward_rules.plants.rules import PlantFilter
from sillward_rules.plants.season_memory import SeasonMemory
from sillward_rules.plants.sightings import course_ended, leaf_looked_at
from sillward_rules.plants.state import Declined, PlantState
from sillward_rules.remark import (
    CourseBehind,
    CourseTooStrong,
    FeedTooStrong,
    FeedWaits,
    LookAtLeaf,
)
from sillward_rules.sheet import Round, Sheet, draw_up, not_to_be_mixed
from sillward_rules.transitions import answered, declined, next_state
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.season import Season
from sillward_rules.weather.year_day import YearDay, YearSpan
from tests.support.core import daily_curve, fetched, plant, utc, warned
from tests.support.summer import DAY, HOURS, NOW, at_home, garden, limited, sky

DAY_LONG = timedelta(days=1)
EASY = Habits(feed_from_c=10.0, mist_from_c=10.0)
SOFT = sky(daily_curve(14.0, 30.0, 30 * 24), dew=13.5, wind_m_s=0.3)
"""A month of days on which a film lasts."""

DRY = sky(daily_curve(16.0, 30.0, 10 * 24), dew=10.0, wind_m_s=0.5)
"""Days on which a film on a root is taken up as it dries."""

LEFT, RIGHT = plant("Left"), plant("Right")


def feed(name: str, *plants: str, ec: float = 0.3, **given: object) -> Feed:
    """Half of what its label has for 100 ppm N, in water of 0.1 mS/cm."""
    fertiliser = Fertiliser(20, 20, 20, ec_per_100_ppm_n=2 * (ec - 0.1))
    recipe = Recipe(Mix(fertiliser, 0.25, 0.1))
    return Feed(name, recipe, plants=PlantFilter(name=plants), **given)  # type: ignore[arg-type]


def course(*plants: str, times: int = 3, **given: object) -> Course:
    """Epsom salt, weak: 0.1 mS/cm of water and 0.27 of salt."""
    whole = {"salt": SALTS["MgSO4.7H2O"], "grams_per_litre": 0.25, "water_ec": 0.1, **given}
    chosen = PlantFilter(name=plants)
    return Course("magnesium", times=times, plants=chosen, **whole)  # type: ignore[arg-type]


def beds(
    *feeds: Feed, courses: tuple[Course, ...] = (), plants: tuple[Plant, ...] = (LEFT, RIGHT)
) -> Collection:
    return replace(garden(*plants, habits=EASY), feeds=feeds, courses=courses)


def morning(
    of: Collection,
    state: dict[str, PlantState] | None = None,
    now: datetime = NOW,
    air: Weather = SOFT,
) -> Sheet:
    return draw_up(Round.MORNING, of, fetched(air, now), state or {}, now)


def week_of(of: Collection, air: Weather = SOFT) -> Sheet:
    return draw_up(Round.WEEK, of, fetched(air, NOW), {}, NOW)


def given(sheet: Sheet) -> dict[str, str]:
    """What each plant gets besides water: the kind of its chore and the name."""
    kinds = (ChoreKind.FEED, ChoreKind.COURSE)
    return {
        name: f"{chore.kind.value} {chore.what}".strip()
        for chore in sheet.chores
        if chore.kind in kinds
        for name in chore.plants
    }


def of_kind(sheet: Sheet, kind: ChoreKind) -> list[Chore]:
    return [chore for chore in sheet.chores if chore.kind is kind]


def mornings(of: Collection, days: int, name: str = "Left") -> str:
    """What a plant gets on each of these days, everything followed: F, C or a point."""
    state: dict[str, PlantState] = {}
    told = ""
    for day in range(days):
        sheet = morning(of, state, NOW + day * DAY_LONG)
        told += {"f": "F", "c": "C"}.get(given(sheet).get(name, "")[:1], ".")
        state = next_state(state, sheet)
    return told


# -- feeds


def test_two_feeds_are_given_on_one_walk_each_to_its_plants() -> None:
    sheet = morning(beds(feed("weak", "Left"), feed("strong", "Right", ec=0.5)))

    assert given(sheet) == {"Left": "feed weak", "Right": "feed strong"}
    (mist,) = [m for m in of_kind(sheet, ChoreKind.MIST) if m.goes_with(sheet.chores[0])][:1]
    assert all(one.goes_with(mist) for one in of_kind(sheet, ChoreKind.FEED))
    rinsed = {name for rinse in of_kind(sheet, ChoreKind.FLUSH) for name in rinse.plants}
    assert rinsed == {"Left", "Right"}
    assert len({chore.id for chore in sheet.chores}) == len(sheet.chores)


def test_each_feed_is_held_against_the_limit_of_its_own_plants() -> None:
    tender = tuple(limited(one, salt_high=0.4) for one in (LEFT, RIGHT))
    sheet = morning(beds(feed("weak", "Left"), feed("strong", "Right", ec=0.5), plants=tender))

    assert given(sheet) == {"Left": "feed weak"}
    assert not warned(sheet, FeedTooStrong), "told in the week and by `check`, not every day"
    two = beds(feed("weak", "Left"), feed("strong", "Right", ec=0.5), plants=tender)
    (said,) = warned(week_of(two), FeedTooStrong)
    assert (said.plants, said.feed, said.limit_ms_cm) == (("Right",), "strong", 0.4)
    assert said.ec_ms_cm == pytest.approx(0.5)
    assert said in too_strong_for(two, DAY)


def test_plants_without_a_feed_of_their_own_get_that_of_all_or_none() -> None:
    some = beds(feed("weak", "Left"))

    assert given(morning(some)) == {"Left": "feed weak"}
    assert given(morning(replace(some, feed=feed("").recipe)))["Right"] == "feed"
    assert some.feeds_of(RIGHT) == ()


def test_feeds_follow_each_other_through_the_year() -> None:
    """NOW is 20 January; a week counts from the last feed, whichever it was."""
    spring = YearSpan(YearDay(9, 1), YearDay(1, 23))
    summer = YearSpan(YearDay(1, 24), YearDay(8, 31))
    two = beds(feed("growth", "Left", days=spring), feed("bloom", "Left", days=summer))

    def of_day(day: int, state: dict[str, PlantState]) -> tuple[dict[str, str], Sheet]:
        sheet = morning(two, state, NOW + day * DAY_LONG)
        return given(sheet), sheet

    first, sheet = of_day(0, {})
    assert first == {"Left": "feed growth"}
    state = next_state({}, sheet)
    assert of_day(5, state)[0] == {}
    assert of_day(7, state)[0] == {"Left": "feed bloom"}


def test_a_daily_feed_is_given_every_morning_and_rinsed() -> None:
    daily = beds(feed("weak", "Left", every=DAY_LONG), feed("usual", "Right"))

    assert mornings(daily, 9) == "FFFFFFFFF"
    assert mornings(daily, 9, "Right") == "F......F."


def test_a_daily_feed_that_was_told_is_still_told_at_a_second_look_that_day() -> None:
    daily = beds(feed("weak", "Left", every=DAY_LONG))
    state = next_state({}, morning(daily))
    state = next_state(state, morning(daily, state, NOW + DAY_LONG))
    again = morning(daily, state, NOW + DAY_LONG + timedelta(minutes=10))

    assert given(again) == {"Left": "feed weak"}


@pytest.mark.parametrize(
    ("seasons", "pauses"),
    [
        (None, (7, 14, None)),
        ((Season.GROWING,), (7, None, None)),
        ((Season.GROWING, Season.SLOWING), (7, 7, None)),
        ((Season.SLOWING,), (None, 7, None)),
    ],
)
def test_in_which_seasons_a_feed_is_given(
    seasons: tuple[Season, ...] | None, pauses: tuple[int | None, ...]
) -> None:
    of = feed("weak", seasons=seasons)
    order = (Season.GROWING, Season.SLOWING, Season.REST)

    assert pauses == tuple(
        None if pause is None else pause.days
        for pause in (of.pause(season, 7 * DAY_LONG) for season in order)
    )


def test_plants_that_differ_in_their_feed_alone_are_decided_apart() -> None:
    same = beds(feed("weak", "Left"))

    assert len(same.names) == 2
    assert len(beds(feed("weak", "Left", "Right")).names) == 1


# -- courses


def test_a_course_of_three_a_week_is_never_given_on_two_days_running() -> None:
    unfed = replace(beds(courses=(course("Left"),)), feeds=(feed("weak", "Right"),))

    assert mornings(unfed, 14) == "C.C.C..C.C.C.."


def test_a_day_that_was_left_out_is_made_up_for() -> None:
    unfed = replace(beds(courses=(course("Left"),)), feeds=(feed("weak", "Right"),))
    state = next_state({}, morning(unfed))
    told = []
    for day in range(2, 8):
        sheet = morning(unfed, state, NOW + day * DAY_LONG)
        told.append(given(sheet).get("Left"))
        if day == 2:  # told, and not needed, as the grower says
            (chore,) = of_kind(sheet, ChoreKind.COURSE)
            state = next_state(state, sheet)
            said = Declined(chore.kind, DAY, "bench", "bench", chore.before, sheet.at)
            state = {**state, "Left": declined(state["Left"], said)}
        else:
            state = next_state(state, sheet)

    assert told == [
        "course magnesium",
        "course magnesium",
        None,
        "course magnesium",
        None,
        "course magnesium",
    ]


def test_a_course_and_a_daily_feed_take_turns_and_are_never_in_one_misting() -> None:
    both = beds(feed("weak", "Left", every=DAY_LONG), courses=(course("Left"),))

    told = mornings(both, 14)

    assert set(told) == {"F", "C"}
    assert all(told[day : day + 7].count("C") == 3 for day in range(7))
    assert "CC" not in told


@pytest.mark.parametrize(("fed_days_ago", "said"), [(7, False), (13, False), (14, True)])
def test_a_weekly_feed_waits_a_day_for_a_course_and_that_is_said_once_it_is_a_week_late(
    fed_days_ago: int, said: bool
) -> None:
    both = beds(feed("weak", "Left"), courses=(course("Left"),))
    dosed = CourseProgress("magnesium", DAY - 16 * DAY_LONG, (Dose(NOW - 15 * DAY_LONG),))
    state = {"Left": at_home(fed_at=NOW - fed_days_ago * DAY_LONG)}
    state["Left"] = replace(state["Left"], care=state["Left"].care.with_course(dosed))

    sheet = morning(both, state)

    assert given(sheet) == {"Left": "course magnesium"}
    waits = [FeedWaits(("Left",), "magnesium", "weak", clouds=False)]
    assert warned(sheet, FeedWaits) == (waits if said else [])
    later = morning(both, next_state(state, sheet), NOW + DAY_LONG)
    assert given(later) == {"Left": "feed weak"}
    assert not warned(later, FeedWaits)


def test_a_salt_that_clouds_with_the_feed_is_said_never_to_be_mixed() -> None:
    calcium = course("Left", salt=SALTS["Ca(NO3)2.4H2O"])
    both = beds(feed("weak", "Left"), courses=(calcium,))
    dosed = CourseProgress("magnesium", DAY - 30 * DAY_LONG, (Dose(NOW - 20 * DAY_LONG),))
    state = at_home(fed_at=NOW - 21 * DAY_LONG)
    state = replace(state, care=state.care.with_course(dosed))

    (said,) = warned(morning(both, {"Left": state}), FeedWaits)

    assert said == FeedWaits(("Left",), "weak", "magnesium", clouds=True)


def test_the_mix_of_a_course_says_what_it_must_not_be_mixed_with() -> None:
    calcium = course("Left", salt=SALTS["Ca(NO3)2.4H2O"], never_with=("soap",))
    both = beds(feed("weak", "Left"), courses=(calcium,))

    mixes = morning(both).mixes

    assert mixes["magnesium"].endswith("; never mix it with soap, weak")
    assert "never" not in mixes["weak"]
    assert not_to_be_mixed(course("Left"), both) == [], "no calcium by the label"


def test_plain_water_follows_a_course_within_its_minutes() -> None:
    slow = course("Left", rinse_after=timedelta(minutes=25))
    sheet = morning(replace(beds(courses=(slow,)), feeds=(feed("weak", "Right"),)))

    (dose,) = of_kind(sheet, ChoreKind.COURSE)
    rinse = next(one for one in of_kind(sheet, ChoreKind.FLUSH) if "Left" in one.plants)
    (reason,) = dose.because
    assert dose.not_before is not None
    assert rinse.not_before is not None
    assert rinse.not_before >= dose.not_before + timedelta(minutes=25)
    assert reason.limit == 25
    assert reason.value is None or rinse.before <= dose.before + timedelta(minutes=reason.value)


def test_a_course_beyond_the_limit_for_salt_is_not_given_and_named() -> None:
    tender = (limited(LEFT, salt_high=0.3), RIGHT)
    made = beds(feed("weak", "Right"), courses=(course("Left"),), plants=tender)
    sheet = morning(made)

    assert "Left" not in given(sheet)
    assert not warned(sheet, CourseTooStrong)
    (said,) = warned(week_of(made), CourseTooStrong)
    assert said.plants == ("Left",)
    assert (said.limit_ms_cm, said.dries) == (0.3, False)
    assert too_strong_for(made, DAY) == [said]


@pytest.mark.parametrize("velamen", [True, False])
def test_a_course_as_strong_as_is_told_at_most_can_be_given(velamen: bool) -> None:
    """Within the limit alone it dries past it before it is taken up, and that is told too."""
    left = limited(replace(LEFT, velamen=velamen), salt_high=0.4)
    air = DRY if velamen else SOFT

    def told(grams: float) -> tuple[bool, list[CourseTooStrong]]:
        one = course("Left", grams_per_litre=grams)
        made = beds(feed("weak", "Right"), courses=(one,), plants=(left, RIGHT))
        assert bool(too_strong_for(made, DAY)) is (grams == 0.27)
        week = warned(week_of(made, air), CourseTooStrong)
        return "Left" in given(morning(made, air=air)), week

    over = course("Left", grams_per_litre=0.27)
    assert over.ec <= 0.4
    first, said = told(0.27)
    assert not first
    assert [(one.plants, one.dries) for one in said] == [(("Left",), True)]
    given_now, none = told(said[0].most_g_l)
    assert given_now
    assert none == []


def test_no_course_while_plants_rest_or_take_nothing_up() -> None:
    made = beds(feed("weak", "Right"), courses=(course("Left"),))
    winter = utc("2026-06-19T00:00")
    cool = sky(daily_curve(13.0, 22.0, HOURS), dew=-3.0, start=winter, now=winter)
    hot = sky(daily_curve(27.0, 41.0, HOURS), dew=-5.0, wind_m_s=8.0)

    resting = draw_up(Round.MORNING, made, cool, {}, winter + timedelta(hours=36))
    parched = morning(made, air=hot)

    assert not of_kind(resting, ChoreKind.COURSE)
    assert of_kind(parched, ChoreKind.MIST)
    assert not of_kind(parched, ChoreKind.COURSE)


@pytest.mark.parametrize(
    ("begins", "until", "ended", "runs"),
    [
        (None, None, None, True),
        (DAY, DAY, None, True),
        (DAY + DAY_LONG, None, None, False),
        (None, DAY - DAY_LONG, None, False),
        (None, None, DAY - DAY_LONG, False),
        (DAY - 9 * DAY_LONG, None, DAY - DAY_LONG, False),
        (DAY, None, DAY - DAY_LONG, True),
    ],
)
def test_on_which_days_a_course_runs(
    begins: date | None, until: date | None, ended: date | None, runs: bool
) -> None:
    assert course(begins=begins, until=until).runs_on(DAY, ended) is runs


def test_a_course_ends_for_the_plant_for_which_the_grower_says_so_and_goes_on_if_taken_back() -> (
    None
):
    made = replace(beds(courses=(course(),)), feeds=(feed("weak", "Other"),))
    ended = {"Left": course_ended(at_home(), "magnesium", NOW - timedelta(hours=1))}

    assert given(morning(made, ended)) == {"Right": "course magnesium"}
    again = {"Left": course_ended(ended["Left"], "magnesium", None)}
    assert given(morning(made, again)).keys() == {"Left", "Right"}


# -- what is known of it


def test_what_was_told_counts_and_a_week_with_too_few_is_told() -> None:
    made = beds(feed("weak", "Right"), courses=(course("Left"),))
    confirmed = Dose(NOW - 5 * DAY_LONG, confirmed=True)
    known = CourseProgress(
        "magnesium", DAY - 8 * DAY_LONG, (confirmed, Dose(NOW - 2 * DAY_LONG, due=NOW))
    )
    home = at_home()
    state = {"Left": replace(home, care=home.care.with_course(known))}

    week = draw_up(Round.WEEK, made, fetched(SOFT, NOW), state, NOW)

    assert warned(week, CourseBehind) == [CourseBehind("magnesium", ("Left",), 2, 1, 3, 7)]
    tender = replace(made, plants=(limited(LEFT, salt_high=0.2), RIGHT))
    week = draw_up(Round.WEEK, tender, fetched(SOFT, NOW), state, NOW)
    assert not warned(week, CourseBehind), "it says that it is too strong"
    assert warned(week, CourseTooStrong)
    young = replace(known, began=DAY - 6 * DAY_LONG)
    state = {"Left": replace(home, care=home.care.with_course(young))}
    week = draw_up(Round.WEEK, made, fetched(SOFT, NOW), state, NOW)
    assert not warned(week, CourseBehind)


def test_an_answer_takes_the_place_of_what_was_assumed() -> None:
    made = beds(feed("weak", "Right"), courses=(course("Left"),))
    sheet = morning(made)
    (chore,) = of_kind(sheet, ChoreKind.COURSE)
    state = next_state({}, sheet)["Left"]
    at = chore.before - timedelta(minutes=9)

    told = state.care.course("magnesium")
    done = answered(state, chore.kind, "bench", chore.before, at, of=chore.what)
    known = done.care.course("magnesium")

    assert told == CourseProgress("magnesium", DAY, (Dose(chore.before, False, chore.before),))
    assert known == CourseProgress("magnesium", DAY, (Dose(at, True, chore.before),))
    assert known.total == 1


def test_every_two_weeks_the_grower_is_asked_to_look_at_the_leaves() -> None:
    made = beds(feed("weak", "Right"), courses=(course("Left"),))

    def asked(began_days_ago: int, looked: datetime | None = None) -> list[LookAtLeaf]:
        began = DAY - began_days_ago * DAY_LONG
        doses = tuple(Dose(NOW - ago * DAY_LONG) for ago in range(began_days_ago, -1, -1))
        known = CourseProgress("magnesium", began, doses, looked_at=looked)
        home = at_home()
        state = {"Left": replace(home, care=home.care.with_course(known))}
        return warned(morning(made, state), LookAtLeaf)

    assert asked(13) == []
    assert asked(14) == [LookAtLeaf(("Left",), "magnesium", 14)]
    assert asked(16) == [LookAtLeaf(("Left",), "magnesium", 16)]
    assert asked(17) == []
    assert asked(21) == [LookAtLeaf(("Left",), "magnesium", 21)]
    assert asked(21, NOW - 7 * DAY_LONG) == []
    assert asked(28, NOW - 14 * DAY_LONG) == [LookAtLeaf(("Left",), "magnesium", 14)]
    assert [asked(days) for days in (31, 35, 42, 49)] == [[], [], [], []]


@pytest.mark.parametrize(
    ("dosed_days_ago", "season", "asked"),
    [
        (None, Season.GROWING, False),
        (14, Season.GROWING, True),
        (10, Season.GROWING, False),
        (14, Season.REST, False),
    ],
)
def test_no_leaf_is_asked_about_that_was_given_nothing_or_rests(
    dosed_days_ago: int | None, season: Season, asked: bool
) -> None:
    made = beds(feed("weak", "Right"), courses=(course("Left"),))
    doses = () if dosed_days_ago is None else (Dose(NOW - dosed_days_ago * DAY_LONG),)
    care = Care(season=SeasonMemory(season, DAY, DAY)).with_course(
        CourseProgress("magnesium", DAY - 14 * DAY_LONG, doses)
    )

    said = warned(morning(made, {"Left": at_home(care=care)}), LookAtLeaf)

    assert bool(said) is asked


def test_a_look_is_noted_for_every_course_of_a_plant() -> None:
    state = course_ended(at_home(), "magnesium", None)

    looked = leaf_looked_at(state, NOW).care.course("magnesium")

    assert looked is not None
    assert looked.looked_at == NOW


def test_what_is_said_between_the_making_of_a_round_and_its_telling_is_kept() -> None:
    worked_out = course_ended(at_home(), "magnesium", None).care
    said = course_ended(at_home(), "magnesium", NOW).care

    (course_,) = with_answers(worked_out, said).courses

    assert course_.ended_at == NOW


def test_the_week_gives_on_the_days_on_which_its_mornings_will() -> None:
    """Each morning drawn up by itself, with the advice of those before it followed."""
    made = beds(
        feed("weak", "Left", every=2 * DAY_LONG), feed("usual", "Right"), courses=(course("Left"),)
    )
    week = draw_up(Round.WEEK, made, fetched(SOFT, NOW), {}, NOW).outlook
    assert week is not None
    told: dict[date, dict[str, int]] = {}
    state: dict[str, PlantState] = {}
    for number in range(8):
        sheet = morning(made, state, NOW + number * DAY_LONG)
        counts: dict[str, int] = {}
        for what in given(sheet).values():
            counts[what.split()[1]] = counts.get(what.split()[1], 0) + 1
        told[DAY + number * DAY_LONG] = counts
        state = next_state(state, sheet)

    assert [dict((*day.feeds, *day.courses)) for day in week.days] == [
        told[day.day] for day in week.days
    ]
    assert any(day.courses for day in week.days)


def test_what_the_collection_lacks_for_good_is_forgotten_and_plants_are_alike_again() -> None:
    of = beds(courses=(course("Left"),))
    water = PotWater(NOW - DAY_LONG, 0.5, 0.1)
    look = PotLook("wet", NOW - DAY_LONG, NOW)
    given = CourseProgress("calcium", date(2025, 9, 1), (Dose(NOW - 40 * DAY_LONG),))
    ended = replace(given, ended_at=NOW - 20 * DAY_LONG)

    def kept(progress: CourseProgress) -> Care:
        state = at_home(care=Care(courses=(progress,), water=water, looks=(look,)))
        return morning(of, {"Right": state}).states["Right"].care

    assert kept(given) == morning(of).states["Right"].care
    assert kept(ended).courses == (ended,)  # a file that lacks it for a while loses no answer
    assert kept(replace(given, doses=(Dose(NOW - DAY_LONG),))).courses
    own = CourseProgress("magnesium", date(2025, 1, 1))
    still = at_home(care=Care(courses=(own,)))
    assert morning(of, {"Left": still}).states["Left"].care.courses == (own,)
