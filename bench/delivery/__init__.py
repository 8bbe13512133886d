"""Drum multitracks made from geometry, damaged in known ways, and what the check of a delivery says of them."""
