"""The command: it parses, calls and prints."""
