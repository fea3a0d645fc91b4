"""Lists of seed from spreadsheets, whatever they look like, and back into spreadsheets; labels.

``proposal`` says what a file would change and applies it once that was confirmed; ``export`` writes
everything; ``labels`` prints.
"""
