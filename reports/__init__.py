"""Presentation: result tables in, files out. No statistics here."""
