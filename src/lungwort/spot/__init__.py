"""Tests done by hand: what each says, as a value, an interval or a refusal."""
