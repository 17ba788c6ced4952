"""Notes: rules that ask for nothing but a word on the sheet."""

from datetime import datetime

import numpy as np

from sillward_rules.rule import QUANTITIES
from sillward_rules.scene import Scene
from sillward_rules.weather import moment


def notes(scene: Scene, start: datetime, end: datetime) -> list[str]:
    """One line for each rule and spot where a noting rule fires from start to end."""
    rows = scene.rows(start, end)
    lines: dict[str, None] = {}
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
            worst_value = round(value, 1) + 0.0  # no minus before a zero
            text = f"{firing.rule.name}, {spot}: {quantity} {worst_value:.1f} {unit} at {at:%H:%M}"
            lines[text] = None
    return list(lines)
