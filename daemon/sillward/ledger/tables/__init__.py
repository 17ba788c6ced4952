"""The tables of the ledger, one to a module. All of them share one `Database`."""
