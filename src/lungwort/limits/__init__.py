"""Limits: what published documents allow, with source and standing of every number."""
