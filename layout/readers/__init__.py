"""Files in: each reader turns one kind of file into nouns."""
