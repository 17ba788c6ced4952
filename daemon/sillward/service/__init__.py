"""The service: rounds told when they are due, what follows them, and proof of life."""
