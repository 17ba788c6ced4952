"""Readings noted on the page: the checks and the words are those of `sillward read`."""

import re
from datetime import timedelta
from html import unescape

import pytest

from sillward.config.household import Household
from sillward.ledger.tables.readings import HandReading
from sillward.page.keys import key_of
from sillward.readings.spot_lesson import hangs_right_mark
from sillward_rules.readings.hourly_readings import Quantity
from tests.support.desks import DAY, SITE, World
from tests.support.page_worlds import BENCH_PAGE, SCRIPT, US, a_garden, a_visitor
from tests.support.pages import Visitor


def at_bench(household: Household | None = None, now: str = "17:00") -> tuple[Visitor, World]:
    """A browser that shows the page of the bench."""
    visitor, world = a_visitor(household, now)
    visitor.get(BENCH_PAGE)
    return visitor, world


def by_hand(world: World) -> list[HandReading]:
    return world.ledger.readings.by_hand(SITE.name)


def send(visitor: Visitor, value: str, when: str = "now", at: str = "") -> str:
    """Send the form of a reading; return the words of the page that comes back."""
    answer = visitor.post(f"{BENCH_PAGE}/readings", value=value, when=when, at=at)
    if answer.status_code == 303:
        return visitor.says(answer.headers["Location"])
    return f"{answer.status_code} {unescape(answer.text)}"


def test_a_reading_is_noted_and_the_answer_is_that_of_the_command() -> None:
    visitor, world = at_bench(now="08:10")

    said = send(visitor, "4,5")

    (noted,) = by_hand(world)
    assert (noted.spot, noted.quantity, noted.value) == ("bench", Quantity.TEMPERATURE, 4.5)
    assert noted.at == world.clock()
    assert "Noted: bench 4.5 °C at 08:10 (counts as the lowest of the night)" in said
    assert "expected there 3." in said


def test_a_reading_that_is_far_off_is_a_slip_or_no_time_to_wait() -> None:
    visitor = Visitor()
    address = f"/spots/{key_of('pergola')}"
    answer = visitor.post(f"{address}/readings", value="4.2", when="now", at="")
    page = visitor.get(answer.headers["Location"])
    (news,) = re.findall(r'<div class="note late" id="news">(.*?)</div>', page, re.DOTALL)

    assert "If it is a slip, correct it. If it is right, do not wait for a message" in news
    assert re.search(r"message: .* and \d more need more\. Orders go by it once a second", news)
    assert f'href="{address}/readings/1"' in news


def test_of_a_reading_that_is_as_expected_nothing_more_is_said() -> None:
    visitor, _ = at_bench(now="08:10")

    assert "do not wait" not in send(visitor, "4.5")


def test_a_second_one_of_the_same_moment_says_what_it_replaced() -> None:
    visitor, world = at_bench()
    send(visitor, "14.5")

    said = send(visitor, "13.5")

    assert "13.5 °C" in said
    assert "it was 14.5 °C before" in said
    assert [reading.value for reading in by_hand(world)] == [13.5]


def test_the_lowest_of_the_last_night_and_another_time() -> None:
    visitor, world = at_bench(now="10:00")

    assert "as the lowest of the night from Wed 13 May" in send(visitor, "2.1", "night")
    assert "at 06:40" in send(visitor, "1.5", "at", "06:40")

    lowest, at_time = sorted(by_hand(world), key=lambda reading: reading.value, reverse=True)
    assert lowest.night == DAY - timedelta(days=1)
    assert at_time.night is None
    said = send(visitor, "2.2", "night")
    assert "But 1.5 °C was noted for 06:40 of that night" in said


def test_a_humidity_is_told_by_its_sign() -> None:
    visitor, world = at_bench()

    assert "61 %" in send(visitor, "61%")
    assert by_hand(world)[0].quantity is Quantity.HUMIDITY


def test_an_unlikely_unit_is_asked_about_and_nothing_is_noted_before_the_answer() -> None:
    visitor, world = at_bench(now="10:00")

    asked = send(visitor, "41", "at", "09:30")

    assert "41 °C is unlikely" in asked
    assert "It is 41 °F" in asked
    assert "It is 41 °C" in asked
    assert asked.count('name="at" value="09:30"') == 2
    assert by_hand(world) == []

    send(visitor, "41F", "at", "09:30")
    assert [reading.value for reading in by_hand(world)] == [5.0]


def test_the_unit_is_the_growers() -> None:
    visitor, world = at_bench(a_garden(units=US))

    assert "52.0 °F" in send(visitor, "52")
    assert by_hand(world)[0].value == pytest.approx(11.11, abs=0.01)


@pytest.mark.parametrize(
    ("value", "when", "at", "wrong"),
    [
        ("warm", "now", "", '"warm" is not a value'),
        ("", "now", "", "is not a value"),
        ("400", "now", "", "cannot be"),
        ("11", "at", "soon", '"soon" is not a time'),
        ("11", "at", "2026-05-15T12:00", "in the future"),
        ("61%", "night", "", "note a humidity at its own time"),
        (SCRIPT, "now", "", "is not a value"),
    ],
)
def test_what_cannot_be_is_said_and_what_was_typed_stays(
    value: str, when: str, at: str, wrong: str
) -> None:
    visitor, world = at_bench()
    answer = visitor.post(f"{BENCH_PAGE}/readings", value=value, when=when, at=at)

    assert answer.status_code == 422
    assert wrong in unescape(answer.text)
    assert "<script>alert" not in answer.text
    assert f'name="at" maxlength="40" autocomplete="off" value="{at}"' in answer.text
    assert f'value="{when}" checked' in answer.text
    assert by_hand(world) == []


def test_a_form_that_is_not_ours_is_refused() -> None:
    visitor, world = at_bench()

    assert visitor.post(f"{BENCH_PAGE}/readings", value="11", when="ever").status_code == 400
    assert visitor.post("/spots/000000000000/readings", value="11", when="now").status_code == 404
    bare = visitor.client.post(f"{BENCH_PAGE}/readings", data={"value": "11", "when": "now"})
    assert bare.status_code == 403
    assert by_hand(world) == []


def test_a_reading_is_corrected() -> None:
    visitor, world = at_bench()
    send(visitor, "14.5")
    assert "Reading 1" in visitor.says(f"{BENCH_PAGE}/readings/1")

    answer = visitor.post(f"{BENCH_PAGE}/readings/1", value="13.5")
    assert "Corrected: the reading is 13.5 °C." in visitor.says(answer.headers["Location"])
    assert [reading.value for reading in by_hand(world)] == [13.5]

    refused = visitor.post(f"{BENCH_PAGE}/readings/1", value="hot")
    assert refused.status_code == 422
    assert "is not a value" in refused.text
    assert [reading.value for reading in by_hand(world)] == [13.5]


def test_a_reading_is_deleted_after_a_question_and_twice_is_once() -> None:
    visitor, world = at_bench()
    send(visitor, "14.5")
    path = f"{BENCH_PAGE}/readings/1/delete"
    assert "Delete this reading?" in visitor.says(path)
    assert len(by_hand(world)) == 1

    for _ in range(2):
        visitor.get(BENCH_PAGE)
        answer = visitor.post(path)
        assert "The reading is deleted." in visitor.says(answer.headers["Location"])
    assert by_hand(world) == []
    assert visitor.client.get(f"{BENCH_PAGE}/readings/1").status_code == 404


def test_a_reading_of_another_spot_is_not_there() -> None:
    visitor, world = at_bench()
    reading = HandReading("room", Quantity.TEMPERATURE, 17.0, world.clock())
    world.ledger.readings.add_by_hand(SITE.name, reading, world.clock())

    assert visitor.client.get(f"{BENCH_PAGE}/readings/1").status_code == 404
    visitor.post(f"{BENCH_PAGE}/readings/1/delete")
    assert len(by_hand(world)) == 1


def test_a_thermometer_of_which_nothing_is_asked_is_not_explained() -> None:
    visitor, world = at_bench()

    assert visitor.post(f"{BENCH_PAGE}/hangs-right").status_code == 303
    assert world.ledger.marks.get(hangs_right_mark(SITE, "bench")) is None
