"""The panel's profile of each batch, with its noise."""
