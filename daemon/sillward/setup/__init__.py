"""The first run: questions, and a collection that is written from the answers.

From the bottom up:

- `dialogue`: questions one after the other, and the way back through them; `prompts` holds such a
  dialogue on a terminal and reads answers.
- `answers`: what was said. `toml_text`, `plant_tables` and `collection_text`: the file made of it.
- `site_questions`, `spot_questions`, `plant_questions`, `phone_questions`: what is asked.
- `plant_list`: plants from a spreadsheet; `list_questions`: what it leaves unclear. `summary`: what
  the answers come to.
- `own_phone`: where the URL of a phone is kept, and how it is tried. `writing`: the files.
- `first_run`: all of it in turn; `adding`: the plants of a list for a collection that is there.
"""
