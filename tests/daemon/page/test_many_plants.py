"""The pages of a household with 300 plants: how long they take is measured in `tests/bench`."""

from pathlib import Path

from sillward.page.keys import key_of
from sillward.page.rendering import PLACES
from sillward.page.routes import ROUTES
from tests.bench.pages import GOAL_KB, asked


def test_no_page_is_large(tmp_path: Path) -> None:
    client, longest = asked(tmp_path, entries=2_000)
    rules = {route.name: route.rule for route in ROUTES}
    paths = [*(rules[name] for name, _ in PLACES), f"/plants/{key_of(longest)}"]

    sizes = {path: len(client.get(path).data) / 1000 for path in paths}

    assert all(0.5 < size < GOAL_KB for size in sizes.values()), sizes
