"""One catalogue of words, English and Spanish."""
