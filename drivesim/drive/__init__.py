"""Wheel controllers: speed sensing, PI, strategies; imports only physics and the compiler."""
