"""From pieces and stages to a History: the one place where recipe, bodies and matter meet."""
