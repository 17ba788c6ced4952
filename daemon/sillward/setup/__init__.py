"""The first run: questions, and a collection that comes of the answers."""
