"""Two replays judged alike: by the higher limit of both, whatever the tool went by."""

from dataclasses import replace
from datetime import date

from sillward_rules.plants.collection import Collection, Habits
from sillward_rules.plants.limits import Limit
from sillward_rules.replay.engine import replay
from sillward_rules.replay.summary import totals
from sillward_rules.replay.yardstick import judged_with
from tests.support.core import collection, plant
from tests.support.past_weather import past_weather, plan, some_plants


def with_limit(limit: float, name: str = "Test strap") -> Collection:
    return collection(plant(name, night_low=limit))


def test_the_higher_limit_counts_and_nothing_else_changes() -> None:
    low, high = with_limit(8.0), with_limit(10.0)
    moved = replace(high.plants[0], shelter=None)

    for judged in (judged_with(low, high), judged_with(high, low)):
        assert judged.plants == high.plants
    other = judged_with(low, replace(high, plants=(moved,)))
    assert other.plants[0].shelter == "room"
    assert other.rules == low.rules


def test_plants_that_only_one_has_and_equal_limits_stay_as_they_are() -> None:
    here = with_limit(8.0)

    assert judged_with(here, with_limit(12.0, name="Another")) is here
    assert judged_with(here, with_limit(8.0)) is here


def test_a_limit_of_injury_that_only_one_gives_counts_for_both() -> None:
    here = with_limit(8.0)
    (one,) = here.plants
    hurt = replace(one, limits=replace(one.limits, brief_low=Limit(4.0, "own")))

    (judged,) = judged_with(here, replace(here, plants=(hurt,))).plants

    assert judged.limits.brief_low == Limit(4.0, "own")


def test_a_more_cautious_tool_is_not_worse_for_its_higher_limits() -> None:
    """Judged by its own limits each, it would seem to have no less cold; alike, it has less."""
    first = date(2024, 4, 10)
    truth = past_weather(date(2024, 4, 1), 45)
    usual = some_plants(habits=Habits(caution=0.0))
    raised = replace(
        usual,
        plants=tuple(
            replace(
                one,
                limits=replace(one.limits, night_low=Limit(one.limits.night_low.value + 1, "own")),
            )
            if one.limits.night_low
            else one
            for one in usual.plants
        ),
    )
    alike = {}
    for name, place, other in (("usual", usual, raised), ("raised", raised, usual)):
        judged = judged_with(place, other)
        alike[name] = replay(plan(place, truth, first, 25, judged_by=judged))

    cold, spared = (totals(alike[name].nights) for name in ("usual", "raised"))

    assert cold.misses > 10
    assert spared.misses < cold.misses
    assert spared.hours_under < cold.hours_under
    assert spared.carried_in >= cold.carried_in
    assert spared.needed == cold.needed
    own = totals(replay(plan(usual, truth, first, 25)).nights)
    assert own.walks == cold.walks
    assert own.misses < cold.misses
