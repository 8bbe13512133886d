"""One search over everything that a reader may see."""
