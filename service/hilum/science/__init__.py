"""Published models of seed, air and water: pure functions over floats and numpy arrays.

Knows nothing of boxes, sensors, databases or pages. Temperatures are in °C, relative humidities
in per cent, moisture in per cent (wet or dry basis is in every name), time in days or seconds as
named.
"""
