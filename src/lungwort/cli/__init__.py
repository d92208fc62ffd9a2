"""The terminal's face."""
