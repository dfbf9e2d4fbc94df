"""Every table, column and term, declared once."""
