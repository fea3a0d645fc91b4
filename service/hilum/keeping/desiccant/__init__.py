"""Water in a box: when its desiccant is due and how fast the box breathes."""
