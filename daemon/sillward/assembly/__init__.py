"""The composition root: the only place where settings become objects.

`app`         a household with its settings, sources and clock (`App`), read for every command
`providers`   the servers that the settings name: forecast sources, an ensemble, place names
`read_only`   what commands that change nothing need: ledgers to read, a forecast, plants' states
`desk_setup`  what the service needs: checked channels and places, and desks
`collection_reload`  an edited collection, taken over by a running desk
`examples`    the packaged example as an `App`
`logs`        where log events go

A command that changes nothing imports nothing of `desk_setup`.
"""
