"""Replay: the daily tool over past weather, day by day, and what came of it.

    forecasts   the forecasts that the tool would have had: perfect, erring, or those that were made
    engine      the clock: rounds, newer forecasts and the grower's chores, night by night
    desk        what is told and believed, as in the daemon; grower: where plants really stand
    outcome     what a night came to by the weather that was (`truth`, `track`)
    records     what a replay finds, night by night
    summary     what the records come to: totals, months, misses by depth, reliability, differences
    yardstick   the limits by which two replays are judged alike
    season      the first and last nights under each limit, by chance, from many past years

Nothing here decides: rounds, comparisons and states are those of the daily tool. A replay only
keeps the clock, lets a grower do what is asked, and holds the outcome against the weather that was.
"""
