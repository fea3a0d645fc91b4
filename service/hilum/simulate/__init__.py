"""A physical model of seed boxes, and the demo world made with it.

It shares no code with the computation it is used to check: own formulas, own integration.
"""
