"""What a player's own fingerings say of her hand: her weights, her habits, and what to ask her."""
