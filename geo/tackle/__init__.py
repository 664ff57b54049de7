"""What hangs behind the boat: rigs, spreads, running depth."""
