"""Field to spirit: balances, carry-over, heels, purity."""
