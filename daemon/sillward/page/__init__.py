"""The page on which a grower sees what is to do and answers, served by the daemon or by itself.

    server.py        waitress in a thread of its own, watched by the daemon
    http_server.py   waitress, bounded further
    sites.py         several households of one grower in one server
    household_pages.py   many households that do not know each other
    application.py   a request in, a response out: checks, route, errors
    guard.py         who may ask what: host (hosts.py), origin, forms
    people/          who may come in: passphrases, sessions, a brake on guesses
    desk.py          the ledger and the household, for one request at a time
    visit.py         one request as a view sees it
    routes.py        all addresses
    cards.py         what is to do as cards: what still holds (plans.py), in which words
                     (card_words.py), and the most pressing of it (headline.py)
    views/           what each address shows or does
    templates/, static/

The page decides nothing. It shows what the ledger holds, and writes down what a person says.
"""
