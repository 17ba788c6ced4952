"""Forecasts: sources that know one provider each, and what is made of them all.

A source (`source.Source`) says what to ask and reads what comes back; it opens no connection, which
`net.fetch` does. The updater decides when each source is asked and what is kept, and the store
which of the forecasts in the ledger is used.
"""
