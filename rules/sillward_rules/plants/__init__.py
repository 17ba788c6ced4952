"""What the grower keeps: plants, groups with their limits, rules, feed, the state of each plant."""
