"""Notes and photos: written, corrected and deleted, and never lost in silence."""

import re
from html import escape
from io import BytesIO
from pathlib import Path

import pytest
from werkzeug.test import TestResponse

from sillward.errors import LedgerError
from sillward.ledger.tables.diary import DiaryEntry, DiaryTable, EntryKind
from sillward.page.desk import PageDesk
from sillward.page.keys import key_of
from sillward.page.photos import folder, process
from sillward.page.photos.folder import NOWHERE, PhotoFolder
from sillward.page.visit import MAX_TEXT
from tests.support.pages import Visitor, an_evening
from tests.support.photos import SCRIPT, jpeg, markers, told_everything

PLANT = "Old cattleya"
SITE = "Courtyard"
PAGE = f"/plants/{key_of(PLANT)}"


@pytest.fixture(scope="module")
def desk() -> PageDesk:
    return an_evening()


@pytest.fixture
def visitor(desk: PageDesk, tmp_path: Path) -> Visitor:
    """A visitor of plants with empty diaries."""
    desk.context.ledger.database.execute("DELETE FROM diary")
    desk.photos = PhotoFolder(tmp_path / "photos")
    visitor = Visitor(desk)
    visitor.get(PAGE)
    return visitor


def diary(visitor: Visitor, plant: str = PLANT) -> list[DiaryEntry]:
    return visitor.desk.context.ledger.diary.of_plant(SITE, plant)


def kept(visitor: Visitor) -> list[Path]:
    folder = visitor.desk.photos.folder
    return sorted(folder.iterdir()) if folder is not None and folder.exists() else []


def note(visitor: Visitor, text: object = "", **fields: object) -> TestResponse:
    return visitor.post(f"{PAGE}/notes", **{"text": text} | fields)


def send(visitor: Visitor, content: bytes, name: str = "a.jpg", **fields: object) -> TestResponse:
    answer = note(visitor, **{"photo": (BytesIO(content), name)} | fields)
    answer.request.environ["wsgi.input"].close()  # a file of the client, if it is large
    return answer


def news(visitor: Visitor, answer: TestResponse) -> str:
    """Return what a page says on top, before anything else, after a form was sent."""
    page = answer.text if answer.status_code == 422 else visitor.get(answer.headers["Location"])
    return re.sub(r"<[^>]*>", "", page.partition("</h1>")[2].lstrip().partition("\n")[0])


def complaint(answer: TestResponse) -> str:
    found = re.search(r'role="alert"[^>]*>(.*?)</p>', answer.text)
    assert found is not None, answer.text
    return found[1]


# -- written


def test_what_was_done_is_said_on_top_of_the_page(visitor: Visitor) -> None:
    assert news(visitor, note(visitor, "New root.")) == "Noted."
    assert news(visitor, send(visitor, jpeg())) == "Noted, with the photo."
    assert news(visitor, note(visitor, "Dry.", others="yes")) == "Noted of all plants here."
    number = diary(visitor)[0].id
    assert news(visitor, visitor.post(f"/notes/{number}", text="Wet.", seen="")) == (
        "The entry is corrected."
    )
    assert news(visitor, visitor.post(f"/notes/{number}/delete")) == "The entry is deleted."


def test_why_a_note_is_not_taken_is_said_on_top_of_the_page(visitor: Visitor) -> None:
    assert news(visitor, note(visitor, "")) == (
        "Not noted: write what you see, or add a photo. Change it"
    )


@pytest.mark.parametrize("word", ["x", "{spot}", "<b>"])
def test_only_words_of_ours_are_said(visitor: Visitor, word: str) -> None:
    assert visitor.client.get(PAGE, query_string={"said": word}).text == visitor.get(PAGE)


def test_a_note_is_kept_and_shown(visitor: Visitor) -> None:
    answer = note(visitor, "New root.\r\nSecond line")

    assert (answer.status_code, answer.headers["Location"]) == (303, f"{PAGE}?said=noted")
    (entry,) = diary(visitor)
    assert entry.text == "New root.\nSecond line"
    assert entry.kind is EntryKind.OBSERVATION
    assert entry.seen_at == entry.entered_at
    assert "Today 17:16 New root. Second line" in visitor.says(PAGE)


def test_a_note_has_a_kind_and_says_what_and_how_much(visitor: Visitor) -> None:
    note(visitor, kind="damage", what=" Spots ", amount="A few", text="below")
    note(visitor, kind="flower", amount="3", others="yes")

    flower, damage = diary(visitor)
    assert (damage.kind, damage.what, damage.amount) == (EntryKind.DAMAGE, "Spots", "a few")
    assert (flower.kind, flower.amount, flower.text) == (EntryKind.FLOWER, "3", "")
    deeds = visitor.desk.context.ledger.deeds.latest(SITE, 1)
    assert (deeds[0].what, len(deeds[0].about["plants"]) > 1) == ("noted", True)
    says = visitor.says(PAGE)
    assert "Today 17:16 3 flowers opened" in says
    assert "Today 17:16 Damage: Spots, a few below" in says
    assert "3 flowers opened" in visitor.says("/log")
    answer = send(visitor, jpeg(), kind="damage", what="burnt tips")
    assert answer.status_code == 303
    assert send(visitor, jpeg(), amount="<b>" * 99).status_code == 422
    assert (diary(visitor)[0].kind, diary(visitor)[0].photo is None) == (EntryKind.DAMAGE, False)


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"kind": "dream"}, "not a kind of note"),
        ({"kind": "move", "text": "x"}, "say where it stands now"),
        ({"kind": "flower", "amount": "lots"}, "is not an amount"),
        ({"text": "x", "amount": "3"}, "an amount is for damage"),
        ({"kind": "spike", "what": "x"}, "what is for damage"),
        ({"kind": "damage", "what": "x" * 61}, "longer than 60"),
    ],
)
def test_what_a_kind_does_not_have_is_refused_and_stays_in_the_form(
    visitor: Visitor, fields: dict[str, str], why: str
) -> None:
    answer = note(visitor, **fields)

    assert answer.status_code == 422
    assert why in complaint(answer)
    for name in ("what", "amount"):
        assert f'name="{name}"' in answer.text
        assert f'value="{fields.get(name, "")}"' in answer.text
    assert not diary(visitor)


def test_the_kind_of_an_entry_can_be_corrected(visitor: Visitor) -> None:
    note(visitor, "brown")
    (entry,) = diary(visitor)
    form = visitor.get(f"/notes/{entry.id}")
    assert '<option value="observation" selected>' in form

    fields = {"text": "brown", "seen": "", "kind": "damage", "what": "burnt tips", "amount": "2"}
    assert visitor.post(f"/notes/{entry.id}", **fields).status_code == 303
    (after,) = diary(visitor)
    assert (after.kind, after.what, after.amount) == (EntryKind.DAMAGE, "burnt tips", "2")
    wrong = visitor.post(f"/notes/{entry.id}", **fields | {"amount": "x"})
    assert (wrong.status_code, diary(visitor)) == (422, [after])


def test_it_may_have_been_seen_earlier_in_the_time_of_the_site(visitor: Visitor) -> None:
    note(visitor, "Spots", seen="2026-05-13T06:40")

    (entry,) = diary(visitor)
    assert entry.seen_at.isoformat() == "2026-05-13T09:40:00+00:00"
    assert "Wed 13 May 06:40 Spots" in visitor.says(PAGE)


@pytest.mark.parametrize(
    ("text", "seen", "why"),
    [
        ("x", "2026-05-14T17:30", "in the future"),
        ("x", "9999-12-31T23:59", "in the future"),
        ("x", "0001-01-01T00:00", "before 1971"),
        ("x", "yesterday", "not a date and time"),
        ("", "", "write what you see, or add a photo"),
        (" \r\n\t ", "", "write what you see"),
        ("x" * (MAX_TEXT + 1), "", "longer than 2,000 characters"),
    ],
)
def test_what_cannot_be_taken_comes_back_with_the_reason(
    visitor: Visitor, text: str, seen: str, why: str
) -> None:
    answer = note(visitor, text, seen=seen)

    assert answer.status_code == 422
    assert why in complaint(answer)
    assert text.strip() in answer.text
    assert not diary(visitor)


def test_lines_of_a_browser_do_not_count_twice(visitor: Visitor) -> None:
    assert note(visitor, "ab\r\n" * 600 + "x" * 200).status_code == 303
    assert len(diary(visitor)[0].text) == 2_000


def test_characters_that_cannot_be_seen_become_blanks(visitor: Visitor) -> None:
    note(visitor, "a\x1b[31mb\u202ec\x00d\x85e")

    assert diary(visitor)[0].text == "a [31mb c d\ne"


@pytest.mark.parametrize("text", [SCRIPT.decode(), "'\"&</textarea><b>", "שלום 蘭 🌱" * 50])
def test_a_note_is_shown_as_text(visitor: Visitor, text: str) -> None:
    note(visitor, text)
    number = diary(visitor)[0].id

    for path in (PAGE, f"/notes/{number}", f"/notes/{number}/delete"):
        shown = visitor.get(path)
        assert escape(text) in shown.replace("&#34;", "&quot;").replace("&#39;", "&#x27;")
        assert "<script>alert" not in shown
        assert "</textarea><b>" not in shown


def test_the_same_can_be_noted_of_the_plants_beside_it(visitor: Visitor) -> None:
    note(visitor, "Hail", others="yes")

    counts = visitor.desk.context.ledger.diary.counts(SITE)
    assert counts[PLANT] == 1
    assert set(counts) == {
        "Strap-leaf by the door", "Blue basket", PLANT, "Lady of the night", "Dancing ladies",
        "Cork-slab laelia", "Grey curls",
    }  # fmt: skip


def test_nothing_is_noted_of_a_plant_that_is_not_there(visitor: Visitor) -> None:
    assert visitor.post("/plants/0123456789ab/notes", text="x").status_code == 404
    assert visitor.desk.context.ledger.diary.counts(SITE) == {}


# -- photos


def test_a_photo_is_kept_small_and_without_its_place(visitor: Visitor) -> None:
    assert send(visitor, told_everything(6), text="Spike").status_code == 303

    (entry,) = diary(visitor)
    assert (entry.kind, entry.text) == (EntryKind.PHOTO, "Spike")
    assert len(kept(visitor)) == 2
    page = visitor.get(PAGE)
    for path in (f"/photos/{entry.photo}", f"/photos/{entry.photo}/small"):
        assert f'"{path}"' in page
        answer = visitor.client.get(path)
        assert answer.status_code == 200
        assert answer.content_type == "image/jpeg"
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Cache-Control"].startswith("private, ")
        assert set(markers(answer.data)) <= {0xE0, 0xDB, 0xC0, 0xC4}


def test_a_photo_needs_no_text(visitor: Visitor) -> None:
    assert send(visitor, jpeg()).status_code == 303
    assert diary(visitor)[0].text == ""


def test_with_a_photo_only_the_text_goes_to_the_plants_beside_it(visitor: Visitor) -> None:
    send(visitor, jpeg(), text="Hail", others="yes")

    (other,) = diary(visitor, "Grey curls")
    assert (other.kind, other.photo) == (EntryKind.OBSERVATION, None)


@pytest.mark.parametrize(
    ("content", "name"),
    [
        (b"<html>" + SCRIPT, "a.jpg"),
        (jpeg()[:400], "a.jpg"),
        (b"", "a.jpg"),
        (b"GIF89a", "../../../etc/passwd\x00.jpg"),
        (jpeg() + b"\0" * 10_000_000, "a.jpg"),
    ],
    ids=["page", "truncated", "empty", "traversal", "too large"],
)
def test_what_is_no_photo_costs_no_text(visitor: Visitor, content: bytes, name: str) -> None:
    answer = send(visitor, content, name, text="Spike & more", seen="2026-05-13T06:40")

    assert answer.status_code == 422
    assert "photo" in complaint(answer)
    assert "Spike &amp; more" in answer.text
    assert 'value="2026-05-13T06:40"' in answer.text
    assert not diary(visitor)
    assert not kept(visitor)


def test_the_name_of_a_photo_is_no_matter(visitor: Visitor) -> None:
    assert send(visitor, jpeg(), "../<script>alert(1)</script>\x00.php").status_code == 303

    assert "script>alert" not in visitor.get(PAGE)
    assert all(re.fullmatch(r"[0-9a-f]{32}(-small)?\.jpg", file.name) for file in kept(visitor))


def test_a_request_that_is_far_too_large_is_refused(visitor: Visitor) -> None:
    assert send(visitor, b"\xff" * 10_100_000).status_code == 413


def test_a_full_disk_keeps_the_text_in_the_form(
    visitor: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("sillward.files.write", full)
    answer = send(visitor, jpeg(), text="Spike")

    assert "cannot be kept: No space left on device" in complaint(answer)
    assert "Spike" in answer.text
    assert not diary(visitor)
    assert not kept(visitor)


def test_a_disk_that_is_nearly_full_takes_notes_but_no_photos(
    visitor: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(process, "prepare", None)  # it is not asked
    monkeypatch.setattr(folder, "MIN_FREE_BYTES", 10**20)
    answer = send(visitor, jpeg(), text="Spike")

    assert answer.status_code == 422
    assert "no photo is taken: less than 100000000000000 MB are free" in complaint(answer)
    assert "Spike" in answer.text
    assert not diary(visitor)
    assert not kept(visitor)
    assert note(visitor, "Spike").status_code == 303


def test_a_ledger_that_cannot_be_written_leaves_no_photo_behind(
    visitor: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        msg = "ledger: database or disk is full"
        raise LedgerError(msg)

    monkeypatch.setattr(DiaryTable, "add", full)
    answer = send(visitor, jpeg(), text="Spike")

    assert answer.status_code == 503
    assert not kept(visitor)


def test_without_pillow_none_is_offered(visitor: Visitor) -> None:
    visitor.desk.photos = NOWHERE

    assert 'type="file"' not in visitor.get(PAGE)
    assert "no photos can be taken here" in complaint(send(visitor, jpeg()))
    assert note(visitor, "A note all the same").status_code == 303


def test_a_photo_that_is_missing_or_broken_is_told(visitor: Visitor) -> None:
    send(visitor, jpeg())
    photo = diary(visitor)[0].photo
    assert 'class="photo"' in visitor.get(PAGE)
    kept(visitor)[0].write_bytes(b"<html>")

    assert "Its photo is missing or broken" in visitor.says(PAGE)
    assert 'class="photo"' not in visitor.get(PAGE)
    answers = [visitor.client.get(f"/photos/{photo}{size}") for size in ("", "/small")]
    assert sorted(answer.status_code for answer in answers) == [200, 404]
    (broken,) = [answer for answer in answers if answer.status_code == 404]
    assert "missing or broken" in broken.text


def test_only_a_photo_of_an_entry_is_given(visitor: Visitor) -> None:
    send(visitor, jpeg())
    photo = diary(visitor)[0].photo
    assert photo is not None
    visitor.desk.context.ledger.diary.remove(SITE, diary(visitor)[0].id)

    for path in (photo, f"{photo}.jpg", "..", "%2e%2e%2fledger.sqlite3", "a" * 32, "x" * 5_000):
        assert visitor.client.get(f"/photos/{path}").status_code in (404, 308)
        assert visitor.client.get(f"/photos/{path}/small").status_code in (404, 308)


def test_nothing_leads_out_of_the_folder_even_from_the_ledger(
    visitor: Visitor, tmp_path: Path
) -> None:
    secret = tmp_path / "secret.jpg"
    secret.write_bytes(jpeg())
    for name in ("../secret", str(tmp_path / "secret"), "secret"):
        now = visitor.desk.context.clock()
        entry = DiaryEntry(PLANT, now, now, EntryKind.PHOTO, "", photo=name)
        visitor.desk.context.ledger.diary.add(SITE, [entry])

    assert visitor.says(PAGE).count("missing or broken") == 3
    assert visitor.client.get("/photos/secret").status_code == 404


# -- corrected, deleted


def test_an_entry_is_corrected(visitor: Visitor) -> None:
    note(visitor, "Spkie", seen="2026-05-13T06:40")
    number = diary(visitor)[0].id
    page = visitor.get(f"/notes/{number}")
    assert "Spkie</textarea>" in page
    assert 'value="2026-05-13T06:40"' in page
    answer = visitor.post(f"/notes/{number}", text="Spike", seen="2026-05-12T06:40")

    assert (answer.status_code, answer.headers["Location"]) == (303, f"{PAGE}?said=corrected")
    (entry,) = diary(visitor)
    assert (entry.text, entry.seen_at.day) == ("Spike", 12)


def test_a_correction_of_the_text_keeps_the_second(visitor: Visitor) -> None:
    note(visitor, "Spkie")
    before = diary(visitor)[0]
    visitor.post(f"/notes/{before.id}", text="Spike", seen="2026-05-14T17:16")

    assert diary(visitor)[0].seen_at == before.seen_at


@pytest.mark.parametrize("fields", [{"text": ""}, {"text": "x", "seen": "2030-01-01T00:00"}])
def test_a_correction_that_cannot_be_changes_nothing(
    visitor: Visitor, fields: dict[str, str]
) -> None:
    note(visitor, "Spike")
    before = diary(visitor)
    answer = visitor.post(f"/notes/{before[0].id}", **fields)

    assert answer.status_code == 422
    assert complaint(answer).startswith("Not corrected: ")
    assert diary(visitor) == before


def test_it_is_asked_before_an_entry_is_deleted_with_its_photo(visitor: Visitor) -> None:
    send(visitor, jpeg(), text="Spike")
    number = diary(visitor)[0].id
    assert "Delete this entry?" in visitor.says(f"/notes/{number}/delete")
    assert diary(visitor)
    answer = visitor.post(f"/notes/{number}/delete")

    assert (answer.status_code, answer.headers["Location"]) == (303, f"{PAGE}?said=deleted")
    assert not diary(visitor)
    assert not kept(visitor)
    again = visitor.post(f"/notes/{number}/delete")
    assert (again.status_code, again.headers["Location"]) == (303, "/plants")


def test_an_entry_stays_while_its_photo_cannot_be_deleted(visitor: Visitor, tmp_path: Path) -> None:
    send(visitor, jpeg(), text="Spike")
    file = kept(visitor)[0]
    file.unlink()
    (tmp_path / "mine").write_text("mine")
    file.symlink_to(tmp_path / "mine")
    answer = visitor.post(f"/notes/{diary(visitor)[0].id}/delete")

    assert answer.status_code == 500
    assert "the entry stays" in answer.text
    assert diary(visitor)
    assert (tmp_path / "mine").read_text() == "mine"


def test_what_the_page_wrote_of_a_move_is_not_rewritten(visitor: Visitor) -> None:
    now = visitor.desk.context.clock()
    moved = DiaryEntry(PLANT, now, now, EntryKind.MOVE, "sunroom")
    visitor.desk.context.ledger.diary.add(SITE, [moved])

    number = diary(visitor)[0].id
    assert "Moved to sunroom" in visitor.says(PAGE)
    assert visitor.client.get(f"/notes/{number}").status_code == 404
    assert visitor.client.get(f"/notes/{number}/delete").status_code == 404
    assert visitor.post(f"/notes/{number}", text="x").status_code == 404


@pytest.mark.parametrize("number", ["0", "999", "-1", "9" * 30, "1e3", "x"])
def test_there_is_no_entry_of_another_number(visitor: Visitor, number: str) -> None:
    for path in (f"/notes/{number}", f"/notes/{number}/delete"):
        assert visitor.client.get(path).status_code == 404
