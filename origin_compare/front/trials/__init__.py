"""The pages of the next trials: the wish, and what is proposed."""
