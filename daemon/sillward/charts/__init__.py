"""Charts: what they show (`data`, pure), how they are drawn (`draw`, the only one that knows
matplotlib), and a child process that draws, so that the daemon stays small (`child`)."""
