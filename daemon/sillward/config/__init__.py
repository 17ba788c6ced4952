"""What the grower configures: the environment's settings and the collection file."""
