"""The job of keeping the catalogue: sites, supplies, outlets, instruments, persons and lots."""
