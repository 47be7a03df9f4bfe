"""How much of what the panel sees goes with what."""
