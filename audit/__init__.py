"""Audit of a clinic that fits intrauterine devices: a visit log in, result tables out."""
