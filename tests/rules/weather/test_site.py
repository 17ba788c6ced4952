"""A site's key, and what people read as its name."""

from dataclasses import replace
from zoneinfo import ZoneInfo

from sillward_rules.weather.site import Site

COURTYARD = Site("Courtyard", -32.89, -68.85, 780, ZoneInfo("America/Argentina/Mendoza"))


def test_a_site_is_called_by_its_key_unless_it_is_called_otherwise() -> None:
    assert COURTYARD.label == "Courtyard"
    assert replace(COURTYARD, name="Yard").label == "Yard"
    kept_apart = replace(COURTYARD, name="casa-inez", called="Courtyard")
    assert (kept_apart.name, kept_apart.label) == ("casa-inez", "Courtyard")
