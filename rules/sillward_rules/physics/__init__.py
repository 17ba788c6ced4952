"""The physics: humid air, surfaces and leaves, films of water, crowns, time under a limit."""
