"""Forecasts: sources that know one provider each, and what is made of them all.

A source (`source.Source`, one for each module in `sources`) says what to ask and reads what comes
back; it opens no connection, which `net.fetch` does. The `updater` decides which source is called
and when (`schedule`), `provider_calls` makes the calls, `intake` checks what comes back and saves
it, and the `store` decides which of the saved forecasts is used.
"""
