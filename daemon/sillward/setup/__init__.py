"""The first run: questions, and a collection that is written from the answers.

`first_run` asks (`prompts`, and a module of questions each for site, spots and plants) and writes.
`answers` are what was said; `collection_text` is the file made of them.
"""
