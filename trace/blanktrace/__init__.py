"""Turn one phone photo and one measured size into a true outline in millimetres."""
