"""A batch and its review on paper, on screen and for other programs."""
