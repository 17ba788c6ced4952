"""The pictures of the page in the manual: `python -m docs.make.screens`.

They show the packaged example on a phone. A browser takes them, an installed Chromium, which is why
they are not made with all others. The words that can be read on each are kept beside it, so that a
test without a browser says when a picture shows something else than the page.
"""

import hashlib
import io
import json
import os
import shutil
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

import click
from PIL import Image
from playwright.sync_api import Page, sync_playwright

from docs.make.pictures import PICTURES
from sillward.assembly import demo_page
from sillward.page.application import Application
from sillward.page.guard import Guard
from sillward.page.server import PageServer

NOW = datetime(2026, 5, 14, 12, tzinfo=UTC)
"""The real time at which the example starts; the hours on the page are its own."""

WIDTH, HEIGHT, SCALE = 360, 800, 2
"""Of the phone [px], and how many dots it has for each."""

COLOURS = 48
"""Judgement: the edges of letters are smooth, and a picture has some 40 kB."""


@dataclass(frozen=True, slots=True)
class Screen:
    """A picture.

    Args:
        name: of its files.
        path: the address that it shows.
        scheme: in which colours.
        top: what stands at its upper edge; nothing for the top of the page.
    """

    name: str
    path: str
    scheme: Literal["dark", "light"]
    top: str = ""

    @property
    def picture(self) -> Path:
        return PICTURES / f"{self.name}.png"

    @property
    def record(self) -> Path:
        return PICTURES / f"{self.name}.json"


SCREENS = (Screen("page-today", "", "dark"), Screen("page-ahead", "ahead", "light", ".key"))


@click.command()
@click.option("--chromium", default=shutil.which("chromium"), help="The browser's program.")
def make(chromium: str | None) -> None:
    """Take all of them anew."""
    if chromium is None:
        msg = "there is no Chromium: install it, or name its program with --chromium"
        raise click.ClickException(msg)
    desk = demo_page.page_desk("cold-snap", now=NOW)
    server = PageServer(Application(desk, Guard(bytes(32))), "127.0.0.1", 0)
    server.start()
    with closing(server), sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=chromium, chromium_sandbox=os.getuid() != 0
        )
        for screen in SCREENS:
            page = browser.new_page(
                viewport={"width": WIDTH, "height": HEIGHT},
                device_scale_factor=SCALE,
                color_scheme=screen.scheme,
            )
            page.goto(server.address + screen.path)
            if screen.top:
                page.locator(screen.top).first.evaluate("part => part.scrollIntoView()")
            _keep(screen, page)
            click.echo(f"rewritten: {screen.picture.name}")


def _keep(screen: Screen, page: Page) -> None:
    taken = Image.open(io.BytesIO(page.screenshot()))
    taken.quantize(COLOURS, dither=Image.Dither.NONE).save(screen.picture, optimize=True)
    record = {"words": page.evaluate(_WORDS), "picture": digest(screen.picture)}
    screen.record.write_text(f"{json.dumps(record, ensure_ascii=False)}\n", encoding="utf-8")


_WORDS = """() => {
  const words = [], texts = document.createTreeWalker(
    document.querySelector('main'), NodeFilter.SHOW_TEXT);
  const bottom = document.querySelector('nav').getBoundingClientRect().top;
  const place = document.createRange();
  for (let text = texts.nextNode(); text; text = texts.nextNode()) {
    if (!text.data.trim() || !text.parentElement.checkVisibility()) continue;
    if (text.parentElement.closest('svg')) continue;
    place.selectNodeContents(text);
    const box = place.getBoundingClientRect();
    if (box.top < 0 || box.bottom > bottom) continue;
    words.push(...text.data.split(/\\s+/).filter(Boolean));
  }
  return words;
}"""
"""What can be read above the navigation, but for what is drawn."""


def digest(picture: Path) -> str:
    """Return a digest of a file, so that no other picture takes its place unseen."""
    return hashlib.sha256(picture.read_bytes()).hexdigest()


if __name__ == "__main__":
    make()
