"""What each address of the page shows or does; each module lists its routes."""
