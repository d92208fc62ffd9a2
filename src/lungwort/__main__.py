"""Run lungwort as ``python -m lungwort``."""

from lungwort.cli.main import run

if __name__ == "__main__":
    run()
