"""Arithmetic of seed and product: no solver, no tables, plain floats in working units."""
