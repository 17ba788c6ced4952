"""Notes: what rules ask for that want only a line on the sheet."""

from datetime import datetime

import numpy as np

from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.rules import QUANTITIES
from sillward_rules.remark import Note, Remark
from sillward_rules.weather.hourly import moment


def find_notes(scene: Scene, start: datetime, end: datetime) -> list[Remark]:
    """Return what each rule of this kind finds at each spot from start to end, by the hour."""
    rows = scene.rows(start, end)
    found: dict[Note, None] = {}
    for firing in scene.rules_asking("note", scene.home):
        quantity = firing.rule.quantity
        worst = np.fmin if firing.rule.direction == "below" else np.fmax
        for index in np.flatnonzero(firing.fires[rows].any(axis=0)):
            fired = rows[firing.fires[rows, index]]
            value = float(worst.reduce(firing.values[fired, index]))
            row = int(fired[np.argmax(firing.values[fired, index] == value)])
            at = moment(scene.climate.times[row]).astimezone(scene.site.zone)
            spot = scene.climate.spots[int(firing.column[index])].name
            unit = QUANTITIES[quantity].unit
            found[Note(firing.rule.name, spot, quantity, value, unit, at)] = None
    return [*sorted(found, key=lambda remark: remark.at)]
