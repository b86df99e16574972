"""Gains for the wheel controllers; imports study and below."""
