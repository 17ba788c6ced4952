"""The composition root: the only place where settings become objects.

`app`        a household with its settings, sources and clock (`App`), read for every command
`providers`  the servers that the settings name: forecast sources, an ensemble, place names
`looking`    what a command needs to look: ledgers to read, a forecast, the plants' states
`desks`      what it takes to tell: checked channels and places, and desks
`collection_reload`  an edited collection, taken over by a running desk
`examples`   the packaged example as an `App`
`logs`       where log events go

A command that only looks imports nothing of `desks`.
"""
