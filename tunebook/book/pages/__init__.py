"""The pages of a book, a module a kind."""
