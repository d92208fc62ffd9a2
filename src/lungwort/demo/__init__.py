"""An invented site with seeded faults: generated, never copied from anywhere."""
