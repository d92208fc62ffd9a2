"""The accounts of a workspace: a small database of their own beside the record."""

from __future__ import annotations

from typing import Final

FILE: Final = "accounts.sqlite"
"""Name of the file in the folder of the workspace."""
