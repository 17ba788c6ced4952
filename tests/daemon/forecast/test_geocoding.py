"""Looking places up: what is asked, what is made of the answer, and of every broken one."""

import json
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from pydantic import SecretStr

from sillward.assembly import providers
from sillward.config.settings import load_settings
from sillward.errors import SourceError
from sillward.forecast import geocoding
from sillward.forecast.geocoding import Atlas, Place
from sillward.forecast.source import SourceOptions
from tests.support.loopback_server import SHORT_S, Talk, hanging, head, resetting, serving, whole

SECRET = "very-secret-key"

MENDOZA: dict[str, Any] = {
    "id": 3844421,
    "name": "Mendoza",
    "latitude": -32.89084,
    "longitude": -68.82717,
    "elevation": 827.0,
    "timezone": "America/Argentina/Mendoza",
    "country_code": "AR",
    "country": "Argentina",
    "admin1": "Mendoza",
}
"""In the shape of the API's documentation; the values are near those of the real place."""


def answering(document: object) -> Talk:
    return whole(json.dumps(document).encode())


def found(document: object) -> list[Place]:
    with serving(answering(document)) as server:
        return Atlas(SourceOptions(server.address), None).places_named("Mendoza")


def hit(**changes: object) -> list[Place]:
    return found({"results": [{**MENDOZA, **changes}]})


def around(document: object) -> tuple[float | None, str | None]:
    with serving(answering(document)) as server:
        return Atlas(None, SourceOptions(server.address)).height_and_zone(-32.89, -68.85)


# -- names


def test_a_name_becomes_places() -> None:
    assert found({"results": [MENDOZA]}) == [
        Place(
            "Mendoza",
            "Mendoza, Argentina",
            -32.89084,
            -68.82717,
            827.0,
            "America/Argentina/Mendoza",
        )
    ]


def test_region_and_country_tell_places_of_one_name_apart() -> None:
    (place,) = hit(admin1="Región de\u202eÑuble", country="Chile\n")

    assert place.label == "Mendoza, Región de Ñuble, Chile"


def test_the_name_is_asked_for_as_it_was_typed() -> None:
    with serving(answering({})) as server:
        assert Atlas(SourceOptions(server.address), None).places_named("San José & co") == []

    path = server.asked[0].split()[1].decode()
    assert urlsplit(path).path == "/v1/search"
    assert parse_qs(urlsplit(path).query)["name"] == ["San José & co"]


def test_no_hit_is_an_answer_without_results() -> None:
    """HTTP 200 without the key, as users of the API report."""
    assert found({"generationtime_ms": 0.3}) == []


@pytest.mark.parametrize(
    "changes",
    [
        {"latitude": None},
        {"latitude": "32 S"},
        {"latitude": 100},
        {"longitude": float("nan")},
        {"longitude": True},
        {"longitude": 10**400},
        {"name": ""},
        {"name": "\u202e"},
    ],
)
def test_a_hit_that_is_no_place_is_left_out(changes: dict[str, object]) -> None:
    assert hit(**changes) == []


@pytest.mark.parametrize("height", [None, "high", 9999, -9999, float("inf"), True])
def test_a_height_that_is_none_is_not_known(height: object) -> None:
    (place,) = hit(elevation=height)

    assert place.elevation_m is None


@pytest.mark.parametrize("zone", [None, 3, "", "Mars/Olympus", "../../etc/passwd", "a\0b"])
def test_a_zone_that_is_none_is_not_known(zone: object) -> None:
    (place,) = hit(timezone=zone)

    assert place.zone is None


def test_no_more_hits_than_one_reads() -> None:
    assert len(found({"results": [MENDOZA] * 50})) == geocoding.MAX_HITS


@pytest.mark.parametrize(
    ("talk", "told"),
    [
        (whole(b"<html>log in</html>"), "web page"),
        (whole(b"{"), "not whole JSON"),
        (whole(b"[]"), "is not an object"),
        (answering({"results": "many"}), "has no list of places"),
        (whole(b'{"reason": "no"}', status="400 Bad Request"), 'answered 400: "no"'),
        (whole(b"", status="429 Too Many Requests"), "too many requests"),
        (resetting(head("Content-Length: 5"), b"{"), "broke off"),
    ],
)
def test_a_search_that_fails_says_why(talk: Talk, told: str) -> None:
    with serving(talk) as server, pytest.raises(SourceError, match=told) as caught:
        Atlas(SourceOptions(server.address), None).places_named("Mendoza")

    assert str(caught.value).startswith("Open-Meteo's search for places: ")


def test_a_search_that_hangs_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(geocoding, "LOOKUP_DEADLINE_S", SHORT_S)

    with serving(hanging(head())) as server, pytest.raises(SourceError, match="no whole answer"):
        Atlas(SourceOptions(server.address), None).places_named("Mendoza")


# -- coordinates


def test_coordinates_become_a_height_and_a_zone() -> None:
    assert around({"elevation": 766.0, "timezone": "America/Argentina/Mendoza"}) == (
        766.0,
        "America/Argentina/Mendoza",
    )


def test_what_is_not_told_of_coordinates_is_not_known() -> None:
    assert around({"timezone": "GMT+3"}) == (None, None)


def test_a_key_is_in_no_error() -> None:
    said = json.dumps({"reason": f"wrong key {SECRET}"}).encode()
    with serving(whole(said, status="400 Bad Request")) as server:
        atlas = Atlas(None, SourceOptions(server.address, SecretStr(SECRET)))
        with pytest.raises(SourceError) as caught:
            atlas.height_and_zone(1.0, 2.0)

    assert f"apikey={SECRET}".encode() in server.asked[0]
    assert SECRET not in str(caught.value)


# -- whom the settings allow to ask


@pytest.mark.parametrize(
    ("set_to", "search", "around"),
    [
        ({}, True, True),
        ({"BASE_URL": "http://own.example"}, False, True),
        (
            {
                "BASE_URL": "http://own.example",
                "BASE_URLS__OPEN_METEO_GEOCODING": "http://own.example",
            },
            True,
            True,
        ),
        ({"SOURCE": "met-norway"}, False, False),
        ({"SOURCE": "met-norway,open-meteo", "BASE_URL": "http://own.example"}, True, True),
    ],
)
def test_nobody_is_asked_whom_the_grower_has_not_chosen(
    monkeypatch: pytest.MonkeyPatch, set_to: dict[str, str], search: bool, around: bool
) -> None:
    for name, value in set_to.items():
        monkeypatch.setenv(f"SILLWARD_FORECAST__{name}", value)

    atlas = providers.atlas(load_settings())

    assert (atlas.search is not None, atlas.around is not None) == (search, around)


def test_without_a_search_one_is_told_so() -> None:
    with pytest.raises(SourceError, match="your settings choose another server"):
        Atlas(None, None).places_named("Mendoza")

    assert Atlas(None, None).height_and_zone(1.0, 2.0) == (None, None)
