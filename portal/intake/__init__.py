"""Source files, surveys, song reports, findings, the desk, tempo and bar-one approval."""
