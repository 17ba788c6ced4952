"""Photos of plants: taken in, made small and anonymous, and kept beside the ledger.

    folder.py    where they are kept
    process.py   asks a child process, in bounded time and memory, to prepare one
    __main__.py  that child process
    prepare.py   what it does with Pillow

Nothing but `prepare` opens a picture.
"""
