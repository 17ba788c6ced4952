"""What everybody gets, signed in or not: style, script, icons, and the manifest of the app."""

import json
import math
import re
from io import BytesIO
from urllib.parse import urljoin

import pytest
from PIL import Image
from werkzeug.test import Client

from sillward.page.static_files import TYPES, StaticFiles
from tests.support.pages import Visitor

MANIFEST = "/manifest.webmanifest"
FILES = StaticFiles()


def test_the_manifest_makes_an_app_of_the_page() -> None:
    """Web Application Manifest (W3C): 1.2 start_url, 1.6 scope, 1.8 display, 1.11 icons; Chromium
    asks for a name, icons of 192 and 512 px and a display mode before it offers to install."""
    visitor = Visitor()

    told = json.loads(visitor.get(MANIFEST))

    assert visitor.seen is not None
    assert visitor.seen.content_type == "application/manifest+json"
    assert told["name"]
    assert told["short_name"]
    assert told["display"] == "standalone"
    sizes = {(icon["sizes"], icon["purpose"]) for icon in told["icons"]}
    assert {("192x192", "any"), ("512x512", "any"), ("512x512", "maskable")} <= sizes
    assert re.search(rf'<link rel="manifest" href="{MANIFEST}">', visitor.get("/"))


@pytest.mark.parametrize("at", ["/", "/courtyard/"])
def test_the_app_starts_at_the_page_of_its_household(at: str) -> None:
    told = json.loads(Visitor().get(MANIFEST))
    address = f"https://plants.example{at}manifest.webmanifest"

    assert urljoin(address, told["start_url"]) == f"https://plants.example{at}"
    assert urljoin(address, told["scope"]) == f"https://plants.example{at}"


def test_the_manifest_says_nothing_of_the_household() -> None:
    visitor = Visitor()

    text = visitor.get(MANIFEST)

    with visitor.desk.open() as context:
        collection = context.collection
    names = [collection.site.name, *(plant.name for plant in collection.plants)]
    assert not [name for name in names if name.lower() in text.lower()]


def test_the_icons_have_the_sizes_that_the_manifest_gives() -> None:
    client: Client = Visitor().client

    for icon in json.loads(client.get(MANIFEST).text)["icons"]:
        answer = client.get(icon["src"])
        image = Image.open(BytesIO(answer.data))
        assert answer.content_type == icon["type"] == "image/png"
        assert "{}x{}".format(*image.size) == icon["sizes"]


def test_nothing_of_the_maskable_icon_is_lost_behind_any_mask() -> None:
    """The safe zone is a circle about the middle with a radius of 2/5 of the icon's width (Web
    Application Manifest, "icon masks and safe zone"); the rest is one colour without holes."""
    image = Image.open(BytesIO(FILES.files["icon-maskable-512.png"].content)).convert("RGBA")
    ground, size = image.getpixel((0, 0)), image.width

    drawn = [
        math.hypot(x + 0.5 - size / 2, y + 0.5 - size / 2)
        for x in range(size)
        for y in range(size)
        if image.getpixel((x, y)) != ground
    ]

    assert isinstance(ground, tuple)
    assert ground[3] == 255
    assert drawn
    assert max(drawn) <= 0.4 * size


@pytest.mark.parametrize("name", TYPES)
def test_a_file_is_kept_by_browsers_under_an_address_of_its_content(name: str) -> None:
    visitor = Visitor()

    answer = visitor.client.get(FILES.address(name))

    assert answer.data == FILES.files[name].content
    assert answer.content_type == TYPES[name]
    assert "immutable" in answer.headers["Cache-Control"]


@pytest.mark.parametrize("name", ["", "..", "page.cs", "../guard.py", "%2e%2e/guard.py"])
def test_no_other_file_is_sent(name: str) -> None:
    assert Visitor().client.get(f"/assets/{name}").status_code == 404
