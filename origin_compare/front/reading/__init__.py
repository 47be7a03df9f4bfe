"""What the intake page asks, shows and keeps about how files are read."""
