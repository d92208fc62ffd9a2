"""The record: who found what, when, and what was done; kept so that any alteration shows."""
