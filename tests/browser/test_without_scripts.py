"""Everything that can be answered or noted, on a phone that runs no script."""

from collections.abc import Iterator
from io import BytesIO

import pytest
from PIL import Image
from playwright.sync_api import Browser, FilePayload, expect

from sillward.page.keys import key_of
from sillward.page.server import PageServer
from tests.support import browsing
from tests.support.browsing import Phone
from tests.support.pages import link_of_dusk

FIRST, SECOND = "pergola to sunroom", "wall bench to sunroom"
A_PLANT, A_SPOT = f"plants/{key_of('Blue basket')}", f"spots/{key_of('pergola')}"


@pytest.fixture
def phone(browser: Browser, server: PageServer) -> Iterator[Phone]:
    with browsing.holding(browser, server.address, java_script_enabled=False) as phone:
        yield phone


def press(phone: Phone, words: str, button: str) -> None:
    phone.card(words).get_by_role("button", name=button).click()


def test_orders_are_answered_and_taken_back(phone: Phone) -> None:
    page = phone.open()
    press(phone, FIRST, "They are in")
    expect(page.locator("#news")).to_contain_text("done: 6 plants")
    page.locator("#news").get_by_role("button", name="Take that back").click()
    expect(phone.card(FIRST).get_by_role("button", name="They are in")).to_be_visible()

    phone.card(FIRST).get_by_label("Blue basket").uncheck()
    press(phone, FIRST, "They are in")
    to_do = page.locator("article:has(button.wide)").filter(has_text="Blue basket")
    expect(to_do.locator(".choice")).to_have_count(1)

    phone.card(SECOND).get_by_text("Later, or not needed").click()
    press(phone, SECOND, "Remind me in half an hour")
    expect(phone.card(SECOND)).to_contain_text("you are reminded at 17:4")
    phone.card(SECOND).get_by_text("Later, or not needed").click()
    press(phone, SECOND, "I leave them out")
    page.get_by_text("Done and over").click()
    expect(phone.card(SECOND)).to_contain_text("left out, you said")
    press(phone, SECOND, "Take that back")
    expect(phone.card(SECOND).get_by_role("button", name="They are in")).to_be_visible()


def test_a_plant_is_moved_and_moved_back(phone: Phone) -> None:
    page = phone.open(A_PLANT)
    page.get_by_text("It stands somewhere else").click()
    page.get_by_label("It stands now at").select_option("sunroom")
    page.get_by_role("button", name="Note where it stands").click()
    stands = page.locator("dt", has_text="Stands at").locator("+ dd")
    expect(stands).to_contain_text("sunroom")
    page.get_by_role("button", name="Take the move back").click()
    expect(stands).to_contain_text("pergola")


def test_a_note_with_a_photo_is_written_corrected_and_deleted(phone: Phone) -> None:
    page = phone.open(A_PLANT)
    page.get_by_text("Note what you see").click()
    page.get_by_label("What you see").fill("a new root")
    page.get_by_label("Photo").set_input_files(a_photo())
    page.get_by_role("button", name="Note it").click()
    expect(page.locator("article.entry")).to_contain_text("a new root")
    photo = page.locator("article.entry img")
    expect(photo).to_be_visible()
    assert photo.evaluate("image => image.decode().then(() => image.naturalWidth)") > 0

    page.get_by_role("link", name="Correct").click()
    page.get_by_label("What you saw").fill("two new roots")
    page.get_by_role("button", name="Keep").click()
    expect(page.locator("article.entry")).to_contain_text("two new roots")
    page.get_by_role("link", name="Delete").click()
    page.get_by_role("button", name="Delete it").click()
    expect(page.locator("article.entry")).to_have_count(0)


def a_photo() -> FilePayload:
    content = BytesIO()
    Image.new("RGB", (64, 48), "green").save(content, "JPEG")
    return {"name": "IMG_0001.jpg", "mimeType": "image/jpeg", "buffer": content.getvalue()}


def test_a_reading_is_asked_about_noted_and_corrected(phone: Phone) -> None:
    page = phone.open(A_SPOT)
    page.get_by_label("The thermometer shows").fill("52")
    page.get_by_role("button", name="Note it").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Which unit?")
    page.get_by_role("button", name="It is 52 °F").click()
    reading = page.locator("li.reading")
    expect(reading).to_contain_text("11.1 °C")
    reading.get_by_role("link", name="Correct").click()
    page.get_by_label("It was").fill("11.4")
    page.get_by_role("button", name="Correct it").click()
    expect(reading).to_contain_text("11.4 °C")
    reading.get_by_role("link", name="Correct").click()
    page.get_by_role("link", name="Delete it").click()
    page.get_by_role("button", name="Delete").click()
    expect(reading).to_have_count(0)


def test_an_absence_is_planned_and_cancelled(phone: Phone) -> None:
    page = phone.open("away")
    page.get_by_label("First day").fill("2026-06-01")
    page.get_by_label("Last day").fill("2026-06-04")
    page.get_by_label("Who helps").fill("Inés")
    page.get_by_role("button", name="Have them told").click()
    planned = page.locator("section.card").filter(has_text="from Monday 1 June")
    expect(planned).to_contain_text("Inés")
    planned.get_by_role("button", name="Cancel it").click()
    expect(planned).to_have_count(0)


def test_a_link_of_a_message_answers_all_that_it_told(phone: Phone, server: PageServer) -> None:
    page = phone.open(link_of_dusk(server.application._desk))
    page.get_by_label("Blue basket").uncheck()
    page.get_by_role("button", name="Done").click()
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    phone.open()
    to_do = page.locator("article:has(button.wide):visible")
    expect(to_do).to_have_count(2)  # and the pots that want water since the morning
    expect(to_do.filter(has_text="Carry in")).to_contain_text("Blue basket")
