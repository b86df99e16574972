"""The equations, each once, as small compiled scalar functions; imports nothing of ours but the compiler."""
