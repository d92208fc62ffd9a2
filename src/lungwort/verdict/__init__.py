"""Verdict: evidence held against limits."""
