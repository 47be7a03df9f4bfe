"""The demo: an invented distillery, two harvests, made by a seeded script with known truth."""
