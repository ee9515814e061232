"""How things move: nodes that store, links that conduct. Nothing in here knows of meat, salt or a kitchen."""
