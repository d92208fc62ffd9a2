"""An invented site with seeded faults."""
