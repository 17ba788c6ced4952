"""The physics: humid air, surfaces and leaves, water films, wet crowns, time under a limit."""
