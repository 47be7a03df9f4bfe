"""The forms a store has had, one script per step, run when a store is opened."""
