"""The state of each plant, as far as what the ledger says of it can still be true."""

from datetime import datetime

from sillward.ledger import Ledger
from sillward_rules.plants.state import State
from sillward_rules.sheet import Round
from sillward_rules.transitions import believable_states
from sillward_rules.weather import sun
from sillward_rules.weather.site import Site


def states_at(ledger: Ledger, site: Site, now: datetime) -> State:
    """Return the stored state of each plant, as far as it can still be true now."""
    states = ledger.plant_states.of_site(site.name)
    day = sun.night_at_or_after(site, now).day
    if ledger.rounds.was_delivered(site.name, Round.MORNING.value, day):
        return states
    return believable_states(states, site, now)
