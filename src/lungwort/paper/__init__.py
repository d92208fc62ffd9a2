"""Paper: what is handed over."""
