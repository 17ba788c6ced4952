"""The network: one GET at a time, bounded in time and size.

From the top down: `fetch` is what the rest of the shell calls, `transport` makes the call with
`requests`, `deadline` cuts its connections off in time. `http` has the query and the answer, which
all of them share; `progress` wraps a call for a terminal.
"""
