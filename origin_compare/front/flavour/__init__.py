"""Pages on what goes with flavour."""
