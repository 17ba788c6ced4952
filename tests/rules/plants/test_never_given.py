"""Which plants a feed or course with a name never reaches."""

from dataclasses import replace

from sillward_rules.plants.collection import Collection, Habits
from sillward_rules.plants.feeds import Course, Feed
from sillward_rules.plants.never_given import out_of_reach
from tests.rules.planners.test_courses import course, feed
from tests.rules.planners.test_pot_watering import potted
from tests.support.core import plant
from tests.support.summer import garden, rule

MIST = rule("vpd above limit", asks="mist", plants={"holder": ["mount", "basket"]})
MOUNT = plant("Mount", holder="mount")
BARE = replace(potted("Aloe"), pot=None)
ALL = ("Mount", "Aloe", "Hibiscus")


def of(*feeds: Feed, courses: tuple[Course, ...] = (), most: int = 3) -> Collection:
    made = garden(MOUNT, BARE, potted(), rules=[MIST], habits=Habits(mistings_most=most))
    return replace(made, feeds=feeds, courses=courses)


def names(made: Collection) -> list[tuple[str, tuple[str, ...]]]:
    return [(one.name, plants) for one, plants in out_of_reach(made)]


def test_a_plant_that_is_neither_misted_nor_in_a_known_pot_is_out_of_reach() -> None:
    assert names(of(feed("weak", *ALL))) == [("weak", ("Aloe",))]
    assert names(of(courses=(course(*ALL),))) == [("magnesium", ("Aloe",))]
    assert names(of(feed("weak", *ALL), most=0)) == [("weak", ("Mount", "Aloe"))]


def test_the_feed_of_all_plants_is_no_choice_of_any() -> None:
    assert names(replace(of(), feed=feed("").recipe)) == []
