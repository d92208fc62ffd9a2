"""The people on the air: what they took in, and how much air they need."""
