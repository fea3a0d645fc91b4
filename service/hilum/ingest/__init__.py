"""What sensors say, from the broker or by HTTP: parsed, screened, stored, then acknowledged.

``service`` is the whole; ``senml`` (:func:`~hilum.ingest.senml.decode_senml`) and ``tables`` read
what comes another way; ``screen`` says which values are kept.
"""
