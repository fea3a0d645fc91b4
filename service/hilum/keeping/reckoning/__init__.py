"""The ledger of curves: moisture and loss in a box, hour by hour, from corrected readings."""
