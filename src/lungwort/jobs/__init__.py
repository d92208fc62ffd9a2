"""Jobs: one file for each job that the user does."""
