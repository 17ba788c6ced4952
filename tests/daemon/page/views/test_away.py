"""Away: a helper is entered, seen, given a list and thanked, from the page."""

import re
from html import unescape

import pytest

from tests.support.pages import Visitor

DAYS = {"first": "2026-05-16", "last": "2026-05-24"}
INES = {**DAYS, "person": "Inés", "channel": "neighbour", "note": "The key hangs by the door."}


@pytest.fixture(scope="module")
def visitor() -> Visitor:
    return Visitor()


@pytest.fixture(autouse=True)
def nobody(visitor: Visitor) -> None:
    """Nobody helps at first."""
    with visitor.desk.open() as context:
        context.ledger.database.execute("DELETE FROM absence")


def test_the_first_page_leads_there(visitor: Visitor) -> None:
    assert 'href="/away"' in visitor.get()
    assert "Nobody looks after the plants in your place" in visitor.says("/away")


def test_a_helper_is_entered_and_shown(visitor: Visitor) -> None:
    answer = visitor.post("/away", **INES)

    assert (answer.status_code, answer.headers["Location"]) == (303, "/away?said=told")
    shown = visitor.says(answer.headers["Location"])
    assert "Noted. Your helper" in shown
    assert "Inés Told from Saturday 16 May, morning, to Sunday 24 May, evening." in shown
    assert "Through neighbour; the list is not sent yet." in shown


def test_entering_it_twice_is_entering_it_once(visitor: Visitor) -> None:
    visitor.post("/away", **INES)
    visitor.post("/away", **INES)

    assert visitor.get("/away").count("Told from Saturday 16 May") == 1


def test_the_list_has_every_plant_and_boxes_for_the_days(visitor: Visitor) -> None:
    visitor.post("/away", **INES)
    address = re.search(r'href="(/away/list/\d+)"', visitor.get("/away"))
    assert address is not None
    shown = visitor.get(address[1])

    with visitor.desk.open() as context:
        names = [plant.name for plant in context.household.collection.plants]
    assert [name for name in names if name not in unescape(shown)] == []
    assert "The key hangs by the door." in shown
    assert len(re.findall(r'<tr><th scope="row">', shown)) == 9
    assert re.search(r"Sat 16 May</th><td>out from", shown)
    assert re.search(r"Sun 24 May</th><td>not known yet: wait for the message", shown)


def test_it_is_ended_and_ending_it_again_does_no_harm(visitor: Visitor) -> None:
    visitor.post("/away", **INES)
    number = re.search(r'name="absence" value="(\d+)"', visitor.get("/away"))
    assert number is not None

    for _ in range(2):
        answer = visitor.post("/away/end", absence=number[1])
        assert (answer.status_code, answer.headers["Location"]) == (303, "/away")
    assert "Nobody looks after the plants in your place" in visitor.says("/away")
    assert visitor.client.get(f"/away/list/{number[1]}").status_code == 404


def test_it_is_in_the_log(visitor: Visitor) -> None:
    visitor.post("/away", **INES)

    with visitor.desk.open() as context:
        (deed,) = context.ledger.deeds.latest(context.site.name, 1)
    assert (deed.what, deed.about["helper"]) == ("away", "Inés")
    assert "Away: Inés will be told too, from Saturday 16 May" in visitor.says()


def test_what_is_ended_is_named_and_can_be_taken_back(visitor: Visitor) -> None:
    visitor.post("/away", **INES)
    number = re.search(r'name="absence" value="(\d+)"', visitor.get("/away"))
    assert number is not None
    visitor.post("/away/end", absence=number[1])
    page = visitor.get("/away")
    assert "Ended: Inés, from Saturday 16 May, morning, to Sunday 24 May, evening." in unescape(
        page
    )
    news = page.partition('id="news"')[2].partition("</form>")[0]
    fields = dict(re.findall(r'name="(\w+)" value="([^"]*)"', unescape(news)))

    assert {**fields, "form_token": ""} == {**INES, "shared": "yes", "form_token": ""}
    visitor.post("/away", **fields)
    shown = visitor.says("/away")
    assert "Ended" not in shown
    assert "Inés Told from Saturday 16 May" in shown


def test_it_is_asked_whether_the_channel_of_somebody_else_reaches_a_helper(
    visitor: Visitor,
) -> None:
    otto = {**INES, "person": "Otto"}
    asked = visitor.post("/away", **otto)

    assert asked.status_code == 422
    assert "neighbour tells Inés on these days. Does it reach Otto too?" in unescape(
        re.sub(r"<[^>]*>", "", asked.text)
    )
    assert visitor.post("/away", **otto, shared="yes").status_code == 303


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"last": "2026-05-15"}, "Fri 15 May, is before the first, Sat 16 May"),
        ({"first": "2026-05-01"}, "is over"),
        ({"last": ""}, "is not a day"),
        ({"person": ""}, "who looks after the plants"),
        ({"channel": "phone"}, "has no url"),
        ({"channel": "<b>"}, '"<b>" is not a channel'),
    ],
)
def test_what_cannot_be_comes_back_with_what_was_typed(
    visitor: Visitor, changed: dict[str, str], reason: str
) -> None:
    answer = visitor.post("/away", **{**INES, **changed})

    assert answer.status_code == 422
    assert reason in unescape(answer.text)
    assert "<b>" not in answer.text
    assert "The key hangs by the door." in answer.text


def test_what_is_typed_is_text_and_no_markup(visitor: Visitor) -> None:
    typed = {**INES, "person": "<script>x</script>", "note": '"><img src=x>'}
    assert "<script>x" not in visitor.post("/away", **typed).text
    visitor.post("/away", **typed, shared="yes")
    address = re.search(r'href="(/away/list/\d+)"', visitor.get("/away"))
    assert address is not None

    for page in ("/away", address[1], "/"):
        text = visitor.get(page)
        assert "<script>x" not in text
        assert "<img src=x" not in text
