"""What a run has done, in the text format of Prometheus, for whoever operates it.

`exposition` turns the counts of `sillward.service.tally` into metrics with the client library,
which nothing else imports. Off by default; nothing in it names a household, a plant or a channel.
"""
