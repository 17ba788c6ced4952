"""The weekly mail in words: its HTML page, the week ahead, and the review of the last week.

The command `sillward digest` shows it, and growers override its page with a file that is named
`digest.html.jinja`: these two names are public and stay as they are.
"""
