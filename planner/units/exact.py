"""Sizes of units that arithmetic needs, exact.

Notes
-----
NIST Handbook 44, Appendix C: pound, gallon of 231 cubic inches and 128 fl oz, acre of 43,560 square
feet; the foot is the international one of 0.3048 m.
"""

FLOZ_PER_GAL = 128.0
ML_PER_FLOZ = 29.5735295625
LB_PER_CWT = 100.0
KG_PER_LB = 0.45359237
G_PER_LB = 1000.0 * KG_PER_LB
MG_PER_LB = 1000.0 * G_PER_LB
FEET_PER_METER = 1.0 / 0.3048
SQUARE_FEET_PER_ACRE = 43_560.0
HA_PER_ACRE = 0.40468564224
LB_PER_BUSHEL = 60.0
"""Of soybeans (Indiana Code 24-6-1-1)."""
