"""The command line: parses, calls the other layers, prints; no logic of its own."""
