"""Who may use the app over a network: accounts, visits and tokens, beside the record."""
