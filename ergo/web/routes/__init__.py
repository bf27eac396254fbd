"""What the page may ask for: each handler reads the request, calls, and answers."""
