"""What the drummer loads to track: click and tempo-map files."""
