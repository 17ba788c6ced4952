"""Charts: what they show (`data`, pure), how they are drawn (`draw`, which alone needs matplotlib),
and the process that draws them, so that the daemon stays small (`process`)."""
