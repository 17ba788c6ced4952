"""Text and where it is shown: columns, units, printable characters, the terminal."""
