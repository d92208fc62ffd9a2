"""Why the air went wrong, and when it will: patterns of cause, trends, time to a limit."""
