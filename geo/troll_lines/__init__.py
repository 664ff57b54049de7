"""Where the boat goes: targets, lines that can be steered, clearance."""
