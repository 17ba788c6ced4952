"""Limits: groups, hybrids, the grower's own."""

from dataclasses import fields

import pytest

from sillward_rules.plants.groups import standard_groups
from sillward_rules.plants.limits import Limit, Limits, RotClass, overridden, tenderest


def test_a_hybrid_takes_the_tenderest_limit_of_its_parents_one_by_one() -> None:
    mother = Limits(Limit(16, "m"), Limit(8, "m"), Limit(36, "m"), rot=RotClass("low", "m"))
    father = Limits(Limit(13, "f"), Limit(10, "f"), Limit(33, "f"), rot=RotClass("high", "f"))

    both = tenderest([mother, father])

    assert both.night_low == Limit(16, "m")
    assert both.brief_low == Limit(10, "f")
    assert both.day_high == Limit(33, "f")
    assert both.rot == RotClass("high", "f")


def test_a_limit_that_one_parent_lacks_is_the_others() -> None:
    assert tenderest([Limits(), Limits(Limit(9, "f"))]).night_low == Limit(9, "f")
    assert tenderest([]).night_low is None


def test_the_growers_own_limit_beats_the_group_both_ways() -> None:
    group = Limits(Limit(16, "group"), Limit(10, "group"))

    merged = overridden(group, Limits(night_low=Limit(13, "own")))

    assert merged.night_low == Limit(13, "own")
    assert merged.brief_low == Limit(10, "group")


def test_zero_degrees_is_a_limit_too() -> None:
    assert overridden(Limits(Limit(5, "g")), Limits(Limit(0.0, "own"))).night_low == Limit(0, "own")


def test_every_group_has_every_limit_with_an_origin_and_a_sound_order() -> None:
    groups = standard_groups()

    assert len(groups) >= 58
    for group in groups.values():
        for field in fields(Limits):
            limit = getattr(group.limits, field.name)
            # For the grower to set; that of the medium follows from the limit of the feed else.
            if field.name in ("gust_high", "rain_high", "medium_salt_high"):
                assert limit is None, (group.name, field.name)
                continue
            if (
                field.name == "rest_low" and limit is None
            ):  # most want at rest what they always want
                continue
            if field.name == "night_high" and limit is None:  # warm nights harm cool growers only
                continue
            assert limit is not None, (group.name, field.name)
            assert len(limit.origin.split(": ", 1)[1]) > 5
        low, brief, high = group.limits.night_low, group.limits.brief_low, group.limits.day_high
        assert low is not None
        assert brief is not None
        assert high is not None
        assert brief.value < low.value < high.value


@pytest.mark.parametrize(
    ("name", "night", "brief"),
    [
        # As read in the sources that groups.toml names beside each value.
        ("vanda strap-leaf", 16, 10),
        ("phalaenopsis", 16, 10),
        ("cymbidium", 7, 0),  # for the spikes; leaves stand -2
        ("chilling-sensitive aroid", 15, 13),
    ],
)
def test_groups_hold_what_their_sources_say(name: str, night: float, brief: float) -> None:
    limits = standard_groups()[name].limits
    assert limits.night_low is not None
    assert limits.brief_low is not None

    assert (limits.night_low.value, limits.brief_low.value) == (night, brief)


def test_the_derived_vpd_limit_says_that_it_is_derived() -> None:
    limit = standard_groups()["phalaenopsis"].limits.vpd_high
    assert limit is not None

    # es(26.5 °C) = 3.46 kPa by FAO-56 eq. 11; half of it at 50 % humidity.
    assert limit.value == pytest.approx(1.73, abs=0.01)
    assert "derived (judgement)" in limit.origin


def test_injury_by_one_report_of_luck_is_no_limit() -> None:
    limits = standard_groups()["epidendrum reed-stem"].limits
    assert limits.brief_low is not None

    assert limits.brief_low.value >= 2.0  # one grower lost nothing at -2 °C; frost cuts it back


def test_groups_that_were_too_narrow_or_too_wide() -> None:
    groups = standard_groups()

    def value(group: str, limit: str) -> float:
        return float(getattr(groups[group].limits, limit).value)

    assert value("rhipsalis", "brief_low") > value("christmas cactus", "brief_low")
    assert value("bulbophyllum cool", "night_low") < value("bulbophyllum", "night_low")
    assert value("echeveria", "night_low") > value("agave", "night_low")
    assert value("vanda strap-leaf", "light_high") >= 2 * value("vanda strap-leaf", "light_low")
    assert groups["clivia"].limits.rest is not None
    assert groups["clivia"].limits.rest.value == "dry"
