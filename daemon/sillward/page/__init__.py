"""The page on which a grower sees what is to do and answers, served by the daemon or by itself.

    server.py        waitress in a thread of its own, watched by the daemon
    application.py   a request in, a response out: checks, route, errors
    guard.py         who may ask what: host, origin, forms
    desk.py          the ledger and the household, for one request at a time
    visit.py         one request as a view sees it
    routes.py        all addresses
    views/           what each address shows or does
    templates/, static/

The page decides nothing. It shows what the ledger holds, and writes down what a person says.
"""
