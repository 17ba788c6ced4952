"""The salts at the roots in words."""

from zoneinfo import ZoneInfo

from sillward.wording import salt_words
from sillward.wording.voice import Voice
from sillward_rules.planners.scene.salts import SaltNow
from sillward_rules.plants.limits import Limit
from sillward_rules.weather.site import Site

VOICE = Voice(Site("Court", -32.9, -68.8, 780, ZoneInfo("America/Argentina/Mendoza")))
BARK = SaltNow(1.234, 0.28, Limit(2.0, "2.5 times salt_high (a table)"), "bark", assumed=False)


def test_salts_in_a_pot() -> None:
    assert salt_words.told(BARK, VOICE) == "EC 1.2 ± 0.3 mS/cm when wet, limit 2 mS/cm"


def test_salts_on_velamen_by_area_and_where_they_began() -> None:
    # 1 mS/cm is 0.64 g/L; 0.4 mm are 0.4 L/m2.
    bare = SaltNow(1.0, 0.6, Limit(2.0, "yours"), "air", assumed=True)

    assert salt_words.told(bare, VOICE) == (
        "EC 1.0 ± 0.6 mS/cm when wet (0.26 g/m2 of velamen), limit 2 mS/cm; "
        "nothing was known at the start, so half the limit was assumed"
    )


def test_nothing_is_said_where_nothing_is_counted() -> None:
    assert salt_words.told(None, VOICE) == ""
    assert salt_words.document(None) == {}


def test_for_machines() -> None:
    assert salt_words.document(BARK) == {
        "salt": {
            "ec": 1.23,
            "doubt": 0.28,
            "limit": 2.0,
            "origin": "2.5 times salt_high (a table)",
            "assumed_start": False,
            "roots_in": "bark",
        }
    }
