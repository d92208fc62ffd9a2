"""How the database of an older lungwort becomes that of this one: steps that only add."""
