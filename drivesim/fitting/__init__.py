"""A rover's own numbers from bench logs; imports study and below."""
