"""The browser's face: the same jobs as the terminal's, on pages."""
