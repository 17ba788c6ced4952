"""Readings of the spots: taken by hand, from files and from sensors, and what they teach.

Of sensors that live, from the wire to the ledger:

`mqtt_connection`  the one connection to a broker, by paho
`mqtt_listener`    keeps it up in a thread of its own, and knows how it stands
`inbox`            where that thread leaves what came, until a tick takes it
`payload`, `senml` what a message says: readings, or why it says none
`live_intake`      what is done with a reading that came, however it came
`review`           what only whole hours show of a sensor: stuck, in the sun, another's twin
`sensor_trial`     what comes of each sensor within a few seconds, for `sillward try-sensors`

`lessons` is what all readings teach, whichever way they came.
"""
