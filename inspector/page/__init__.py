"""The live page: what it shows, the server, and the static files."""
