"""Files: whole or not at all; GPX; one door for vector files."""
