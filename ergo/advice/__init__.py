"""What to change first: rules as data in, advice ranked by strained time out. Pure."""
