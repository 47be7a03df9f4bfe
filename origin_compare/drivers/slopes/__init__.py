"""What goes with flavour, variable by variable."""
