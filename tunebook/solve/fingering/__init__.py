"""String, key, finger and place of the hand for every note."""
