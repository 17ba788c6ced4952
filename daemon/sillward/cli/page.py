"""`sillward page`: serve the page by itself, or that of the packaged example."""

import secrets
import signal
import threading

import click

from sillward.assembly.app import Options
from sillward.assembly.desk_setup import require_page_parts
from sillward.assembly.examples import DEMOS
from sillward.assembly.logs import start_logging
from sillward.cli import shared
from sillward.cli.printing import say
from sillward.links.key_file import replace_page_key


@click.command()
@click.option("--demo", is_flag=True, help="Show the packaged example; nothing is kept.")
@click.option(
    "--weather",
    type=click.Choice(list(DEMOS)),
    default="cold-snap",
    show_default=True,
    help="The recorded weather of the example.",
)
@click.option("--port", type=click.IntRange(0, 65535), help="Another port on this machine.")
@click.option("--new-key", is_flag=True, help="End all links and sessions; serve nothing.")
@shared.options(at=False, recorded=False, as_json=False)
def page(options: Options, demo: bool, weather: str, port: int | None, new_key: bool) -> None:
    """Serve the page on which you answer, until Ctrl-C. `sillward run` serves it too.

    Example: sillward page --demo
    """
    if new_key:
        _replace_key(options)
        return
    require_page_parts()
    from sillward.assembly import page_setup

    if demo:
        server = page_setup.demo_server(weather, secrets.token_bytes(32), port)
    else:
        app = shared.build(options)
        start_logging(app.settings.log_level)
        server = page_setup.own_server(app, port)
    ended = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: ended.set())
    server.start()
    say(f"the page is at {server.address}; Ctrl-C ends it")
    ended.wait()
    server.close()


def _replace_key(options: Options) -> None:
    app = shared.build(options)
    path = replace_page_key(app.settings.credentials, app.kept_beside)
    say(f"a new key is in {path}; earlier links and sessions no longer work")
    say("a running daemon uses it once it is restarted")
