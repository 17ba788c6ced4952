"""Where the plants stand and what they have had, as far as the ledger can be believed."""

from datetime import datetime

from sillward.ledger import Ledger
from sillward_rules.plants.state import State
from sillward_rules.sheet import Round
from sillward_rules.transitions import believable_states
from sillward_rules.weather import sun
from sillward_rules.weather.site import Site


def states_at(ledger: Ledger, site: Site, now: datetime) -> State:
    """Return what the ledger knows of the plants, as far as it can be believed now."""
    states = ledger.plant_states.of_site(site.name)
    day = sun.night_at_or_after(site, now).day
    if ledger.rounds.was_delivered(site.name, Round.MORNING.value, day):
        return states
    return believable_states(states, site, now)
