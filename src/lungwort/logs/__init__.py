"""Logs: from a logger's file to a clean, flagged log."""
