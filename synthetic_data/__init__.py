"""Invented clinics with known truth."""
