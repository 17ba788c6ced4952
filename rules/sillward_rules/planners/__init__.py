"""Planners: they turn needs into chores.

Each is a pure function of the scene and of what it is given. `dusk_round`, `morning_round` and
`outlook` call the others in order and hand on what one decides to the next: where plants stand
after carrying, which of them are moved out of the heat, which are misted.
"""
