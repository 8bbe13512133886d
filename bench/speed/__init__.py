"""Speed and memory, as ratios to a named baseline in the same run."""
